"""Simulated roofs and clouds, and the comparison of a measured roof with the true one."""

from . import shapes
from .clouds import SimCloud, airborne, photogrammetry
from .draw import KINDS, random_roof
from .surroundings import Surroundings, bare, draw_surroundings
from .truth import TrueEdge, TruePlane, TrueRoof, TrueWall, mirror, move

__all__ = [
    "KINDS",
    "SimCloud",
    "Surroundings",
    "TrueEdge",
    "TruePlane",
    "TrueRoof",
    "TrueWall",
    "airborne",
    "bare",
    "draw_surroundings",
    "mirror",
    "move",
    "photogrammetry",
    "random_roof",
    "shapes",
]
