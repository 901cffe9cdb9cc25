"""Simulated roofs and clouds, and the comparison of a measured roof with the true one."""

from . import shapes
from .clouds import SimCloud, airborne, photogrammetry
from .compare import Comparison, compare_roof
from .draw import KINDS, random_roof
from .handover import cloud_of, roof_points_of
from .measured import as_measured
from .surroundings import Surroundings, bare, draw_surroundings
from .terrestrial import terrestrial
from .truth import TrueEdge, TruePlane, TrueRoof, TrueWall, mirror, move

__all__ = [
    "KINDS",
    "Comparison",
    "SimCloud",
    "Surroundings",
    "TrueEdge",
    "TruePlane",
    "TrueRoof",
    "TrueWall",
    "airborne",
    "as_measured",
    "bare",
    "cloud_of",
    "compare_roof",
    "draw_surroundings",
    "mirror",
    "move",
    "photogrammetry",
    "random_roof",
    "roof_points_of",
    "shapes",
    "terrestrial",
]
