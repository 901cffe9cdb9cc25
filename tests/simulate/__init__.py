"""Simulated roofs and clouds, and the comparison of a measured roof with the true one."""

from . import shapes
from .shapes import KINDS, random_roof
from .truth import TrueEdge, TruePlane, TrueRoof, TrueWall, mirror, move

__all__ = [
    "KINDS",
    "TrueEdge",
    "TruePlane",
    "TrueRoof",
    "TrueWall",
    "mirror",
    "move",
    "random_roof",
    "shapes",
]
