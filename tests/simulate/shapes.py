"""All parametric roofs: see `simple` for those of one body, `composite` and `joined` for
those of several."""

from .composite import cross_gable, gable_dormer, l_hip, porch, shed_dormer, two_level
from .joined import chimney_cricket, dormered, ell, step_down, tee, unequal_hip
from .simple import gable, gablet, gambrel, half_hip, hip, mansard, pyramid, saltbox, shed

__all__ = [
    "chimney_cricket",
    "cross_gable",
    "dormered",
    "ell",
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
    "step_down",
    "tee",
    "two_level",
    "unequal_hip",
]
