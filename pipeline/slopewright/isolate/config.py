"""What can be set when roofs are isolated.  Metres and radians."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from ..errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class IsolateConfig:
    """Sizes below which a thing is no roof, and how far a roof's points are collected."""

    height_min_m: float = 1.8  # a surface lower than this above the ground is no roof: cars, hedges
    slope_max_rad: float = math.radians(75)  # steeper is a wall
    area_min_m2: float = 10.0  # in plan; less is a van or a shelter
    plane_min_m2: float = 4.0  # the largest plane part of a roof is at least so large
    window_m: float = 1.5  # least side of the windows in which flatness is judged
    cell_min_m: float = 0.25
    cell_max_m: float = 2.0
    margin_m: float = 1.0  # points are kept so far outside the outline
    low_m: float = 1.5  # points lower than this above the ground are context
    context_m: float = 3.0  # context reaches so far
    context_per_m2: float = 20.0
    at_reach_m: float = 5.0  # a position may lie so far from a roof's outline

    def __post_init__(self) -> None:
        for name in (field.name for field in fields(self)):
            if not getattr(self, name) > 0:
                raise InputError(f"isolate.{name}: {getattr(self, name)}, need a number above 0")
        if self.slope_max_rad >= math.pi / 2:
            raise InputError(f"isolate.slope_max_rad: {self.slope_max_rad}, need less than pi/2")
        if self.cell_min_m > self.cell_max_m:
            raise InputError(f"isolate.cell_min_m: {self.cell_min_m}, need at most cell_max_m")
