"""What the field takes in modules, from the draws of the roof: waste between two policies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...roof import Plane, Roof
from ...scene import Array, lock
from ..draws import Draws
from .layout import RoofCourses, lay_roof, lay_shapes
from .pattern import Pattern
from .reuse import Policy
from .shape import scaled

N_TRIALS = (
    6  # layouts of redrawn sizes: where the ends of courses fall moves the count less than the area does
)
RESIZED = (0.5, 2.0)  # a plane that is hardly known is laid neither a mile wide nor not at all


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FieldNeed:
    """Coverage that must be bought for the field [m² of faces], draw by draw."""

    courses: RoofCourses  # at the best values
    fewest_m2: Array  # (n,) offcuts pooled
    most_m2: Array  # (n,) no offcut used again

    def __post_init__(self) -> None:
        lock(self.fewest_m2, self.most_m2)


def field_need(
    roof: Roof, planes: Sequence[Plane], pattern: Pattern, draws: Draws, *, rng: np.random.Generator
) -> FieldNeed:
    """Lay the courses, and carry the doubt in the planes' areas to the modules that they take.

    Parameters
    ----------
    roof : Roof
    planes : sequence of Plane
        Those that are shingled, one or more.
    pattern : Pattern
    draws : Draws
        Of the joint areas and lengths.
    rng : numpy.random.Generator
        Chooses the draws that are laid again.

    Returns
    -------
    FieldNeed

    Notes
    -----
    What is cut off grows with lengths, that is with the root of the area.  The layout at the best values and
    `N_TRIALS` layouts with every plane at the size of some draw (same shape) each give waste over the root of
    the area; every draw takes its own area plus one of these, in random order.
    """
    courses = lay_roof(roof, planes, pattern)
    shapes = [plane.shape for plane in courses.planes]
    areas_m2 = np.column_stack([draws[f"area:{plane.id}"] for plane in planes])
    area_m2 = areas_m2.sum(axis=1)
    laid = [courses]
    for row in rng.choice(len(areas_m2), size=N_TRIALS, replace=False):
        factors = np.clip(np.sqrt(areas_m2[row] / [shape.area_m2 for shape in shapes]), *RESIZED)
        resized = [scaled(shape, float(factor)) for shape, factor in zip(shapes, factors, strict=True)]
        laid.append(lay_shapes(resized, pattern, (Policy.POOLED, Policy.NONE)))
    which = rng.permutation(np.arange(len(area_m2)) % len(laid))
    needs = []
    for policy in (Policy.POOLED, Policy.NONE):
        per_root = np.array([one.waste_m2(policy) / np.sqrt(one.area_m2) for one in laid])
        needs.append(area_m2 + per_root[which] * np.sqrt(area_m2))
    return FieldNeed(courses=courses, fewest_m2=needs[0], most_m2=np.maximum(needs[0], needs[1]))
