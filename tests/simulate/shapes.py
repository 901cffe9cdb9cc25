"""All parametric roofs: see `simple` for those of one body, `composite` for those of several."""

from .composite import cross_gable, gable_dormer, l_hip, porch, shed_dormer, two_level
from .simple import gable, gablet, gambrel, half_hip, hip, mansard, pyramid, saltbox, shed

__all__ = [
    "cross_gable",
    "gable",
    "gable_dormer",
    "gablet",
    "gambrel",
    "half_hip",
    "hip",
    "l_hip",
    "mansard",
    "porch",
    "pyramid",
    "saltbox",
    "shed",
    "shed_dormer",
    "two_level",
]
