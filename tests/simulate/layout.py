"""Boxes and planes along the axes, from which the parametric roofs are put together.  Metres, radians."""

from __future__ import annotations

import math
from collections.abc import Sequence

from .wings import Gradient, Wing

Box = tuple[float, float, float, float]  # x0, y0, x1, y1 [m]
Ring = tuple[tuple[float, float], ...]


def ring(box: Box) -> Ring:
    """Corners of a box, counter-clockwise."""
    x0, y0, x1, y1 = box
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def centred(length_m: float, span_m: float) -> Box:
    """A box about (0, 0)."""
    return (-length_m / 2, -span_m / 2, length_m / 2, span_m / 2)


def grown(box: Box, by_m: float) -> Box:
    """A box larger on every side."""
    return (box[0] - by_m, box[1] - by_m, box[2] + by_m, box[3] + by_m)


def rising(towards: str, edge_m: float, z_m: float, pitch_rad: float) -> Gradient:
    """The plane of height `z_m` on the line x or y = `edge_m` that rises towards "n", "s", "e" or "w"."""
    sign = 1.0 if towards in "ne" else -1.0
    slope = sign * math.tan(pitch_rad)
    c = z_m - slope * edge_m
    return (0.0, slope, c) if towards in "ns" else (slope, 0.0, c)


def gable_planes(plan: Box, pitch_rad: float, eave_z_m: float, *, along: str = "x") -> tuple[Gradient, ...]:
    """Two planes rising from opposite sides of a plan to a ridge along "x" or "y"."""
    x0, y0, x1, y1 = plan
    if along == "x":
        return (rising("n", y0, eave_z_m, pitch_rad), rising("s", y1, eave_z_m, pitch_rad))
    return (rising("e", x0, eave_z_m, pitch_rad), rising("w", x1, eave_z_m, pitch_rad))


def hip_planes(
    plan: Box, pitch_rad: float, eave_z_m: float, end_pitch_rad: float | None = None
) -> tuple[Gradient, ...]:
    """Four planes rising from all sides of a plan."""
    end = pitch_rad if end_pitch_rad is None else end_pitch_rad
    return gable_planes(plan, pitch_rad, eave_z_m) + gable_planes(plan, end, eave_z_m, along="y")


def wing_of(walls: Box, overhang_m: float, planes: Sequence[Gradient], *, runs_under: bool = False) -> Wing:
    """A wing that hangs over its walls on every side."""
    plan = ring(grown(walls, overhang_m))
    return Wing(plan=plan, walls=ring(walls), planes=tuple(planes), runs_under=runs_under)
