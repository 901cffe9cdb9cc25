"""Wings that stand against a main body's front (-y), to be put together at will.  Metres, radians; z is up.

`turned` brings a wing to another side.  A body is centred on (0, 0); `span_m` is its size along y.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from .layout import Box, centred, gable_planes, grown, hip_planes, ring, rising, wing_of
from .wings import Gradient, Wing


def main_body(
    end: str, *, length_m: float, span_m: float, pitch_rad: float, overhang_m: float, eave_z_m: float
) -> Wing:
    """A body with its ridge along x and "gable" or "hip" ends."""
    walls = centred(length_m, span_m)
    plan = grown(walls, overhang_m)
    planes = (gable_planes if end == "gable" else hip_planes)(plan, pitch_rad, eave_z_m)
    return wing_of(walls, overhang_m, planes, runs_under=True)


def front_wing(
    end: str,
    *,
    main_span_m: float,
    x_m: float,
    width_m: float,
    projection_m: float,
    pitch_rad: float,
    overhang_m: float,
    eave_z_m: float,
) -> Wing:
    """A wing across the main body, out of its ridge line to the front, with a "gable" or "hip" end."""
    walls = (x_m - width_m / 2, -main_span_m / 2 - projection_m, x_m + width_m / 2, 0.0)
    wide = grown(walls, overhang_m)
    plan = (wide[0], wide[1], wide[2], 0.0)
    planes = gable_planes(plan, pitch_rad, eave_z_m, along="y")
    if end == "hip":
        planes += (rising("n", plan[1], eave_z_m, pitch_rad),)
    return Wing(plan=ring(plan), walls=ring(walls), planes=planes, runs_under=True)


def low_wing(
    roof: str,
    *,
    main_span_m: float,
    x_m: float,
    width_m: float,
    depth_m: float,
    pitch_rad: float,
    overhang_m: float,
    eave_z_m: float,
) -> Wing:
    """A lower roof against the front wall: a "shed", "gable" or "hip" that ends there."""
    wall_y = -main_span_m / 2
    walls = (x_m - width_m / 2, wall_y - depth_m, x_m + width_m / 2, wall_y)
    wide = grown(walls, overhang_m)
    plan = (wide[0], wide[1], wide[2], wall_y)
    front: tuple[Gradient, ...] = (rising("n", plan[1], eave_z_m, pitch_rad),)
    sides = gable_planes(plan, pitch_rad, eave_z_m, along="y")
    planes = {"shed": front, "gable": sides, "hip": sides + front}[roof]
    return Wing(plan=ring(plan), walls=ring(walls), planes=planes, runs_under=True)


def dormer(
    roof: str,
    slope: Gradient,
    *,
    x_m: float,
    width_m: float,
    front_y_m: float,
    wall_m: float,
    pitch_rad: float,
    overhang_m: float,
) -> Wing:
    """A "gable", "hip" or "shed" dormer on a slope that falls to the front.

    Its front wall is at y = `front_y_m` and `wall_m` high above the slope there.
    """
    low = slope[1] * front_y_m + slope[2] + wall_m
    walls = (x_m - width_m / 2, front_y_m, x_m + width_m / 2, 0.0)
    wide = grown(walls, overhang_m)
    plan = (wide[0], wide[1], wide[2], 0.0)
    planes = gable_planes(plan, pitch_rad, low, along="y")
    if roof == "hip":
        planes += (rising("n", plan[1], low, pitch_rad),)
    if roof == "shed":
        planes = (rising("n", plan[1], low, pitch_rad),)
    return Wing(plan=ring(plan), walls=ring(walls), planes=planes)


def notched(body: Wing, box: Box) -> list[Wing]:
    """A rectangular body without a piece of its front edge, `box`, above which a wall goes on up.

    Three wings under the same planes, which `build` joins again.
    """
    x0, y0, x1, y1 = _box(body.plan)
    wall_x0, wall_y0, wall_x1, wall_y1 = _box(body.walls)
    cuts = ((x0, box[0], y0, wall_y0), (box[2], x1, y0, wall_y0), (box[0], box[2], box[3], box[3]))
    return [
        Wing(
            plan=ring((left, edge, right, y1)),
            walls=ring((max(left, wall_x0), wall, min(right, wall_x1), wall_y1)),
            planes=body.planes,
            runs_under=body.runs_under,
        )
        for left, right, edge, wall in cuts
    ]


def cricket(slope: Gradient, *, x_m: float, width_m: float, back_y_m: float, pitch_rad: float) -> Wing:
    """A small gable behind a chimney that sheds water to both sides; `back_y_m` is the chimney's back."""
    z = slope[1] * back_y_m + slope[2]
    plan = (x_m - width_m / 2, back_y_m, x_m + width_m / 2, 0.0)
    return Wing(plan=ring(plan), walls=(), planes=gable_planes(plan, pitch_rad, z, along="y"))


def turned(wing: Wing, quarters: int) -> Wing:
    """A wing turned counter-clockwise by quarter turns about (0, 0)."""
    c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarters % 4]

    def points(corners: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
        return tuple((c * x - s * y, s * x + c * y) for x, y in corners)

    planes = tuple((c * a - s * b, s * a + c * b, z) for a, b, z in wing.planes)
    return Wing(plan=points(wing.plan), walls=points(wing.walls), planes=planes, runs_under=wing.runs_under)


def rise_m(width_m: float, overhang_m: float, pitch_rad: float) -> float:
    """Height of a ridge over the eaves at both sides of a body."""
    return (width_m / 2 + overhang_m) * math.tan(pitch_rad)


def _box(corners: Sequence[tuple[float, float]]) -> Box:
    (x0, y0), (x1, y1) = np.min(corners, axis=0), np.max(corners, axis=0)
    return (float(x0), float(y0), float(x1), float(y1))
