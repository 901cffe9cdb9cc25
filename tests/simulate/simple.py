"""Parametric roofs of one body, as exact solids.  Metres and radians; z is up, the ground is z = 0.

Every function takes wall dimensions; the plan is larger by the overhang on every side.  `eave_z_m` is
the height of the roof surface at the eave's edge.  Ridges run along x, fronts look to -y.
"""

from __future__ import annotations

import math

from .envelope import build
from .layout import centred, gable_planes, grown, hip_planes, ring, rising, wing_of
from .truth import TrueRoof
from .wings import Wing


def gable(
    *, length_m: float, span_m: float, pitch_rad: float, overhang_m: float = 0.4, eave_z_m: float = 3.0
) -> TrueRoof:
    """Two slopes, a level ridge along x."""
    walls = centred(length_m, span_m)
    planes = gable_planes(grown(walls, overhang_m), pitch_rad, eave_z_m)
    return build("gable", [wing_of(walls, overhang_m, planes)])


def hip(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
    end_pitch_rad: float | None = None,
) -> TrueRoof:
    """Four slopes from one level of eaves; the ends may be steeper or flatter than the sides."""
    walls = centred(length_m, span_m)
    planes = hip_planes(grown(walls, overhang_m), pitch_rad, eave_z_m, end_pitch_rad)
    return build("hip", [wing_of(walls, overhang_m, planes)])


def pyramid(*, span_m: float, pitch_rad: float, overhang_m: float = 0.4, eave_z_m: float = 3.0) -> TrueRoof:
    """Four equal slopes that meet in a point."""
    walls = centred(span_m, span_m)
    planes = hip_planes(grown(walls, overhang_m), pitch_rad, eave_z_m)
    return build("pyramid", [wing_of(walls, overhang_m, planes)])


def shed(
    *, length_m: float, span_m: float, pitch_rad: float, overhang_m: float = 0.4, eave_z_m: float = 3.0
) -> TrueRoof:
    """One slope, falling to -y."""
    walls = centred(length_m, span_m)
    plan = grown(walls, overhang_m)
    return build("shed", [wing_of(walls, overhang_m, [rising("n", plan[1], eave_z_m, pitch_rad)])])


def half_hip(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
    clip: float = 0.4,
) -> TrueRoof:
    """A gable whose peaks are cut by small hips over the upper share `clip` of the rise."""
    walls = centred(length_m, span_m)
    plan = grown(walls, overhang_m)
    rise = (plan[3] - plan[1]) / 2 * math.tan(pitch_rad)
    ends = gable_planes(plan, pitch_rad, eave_z_m + (1 - clip) * rise, along="y")
    return build("half_hip", [wing_of(walls, overhang_m, gable_planes(plan, pitch_rad, eave_z_m) + ends)])


def saltbox(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    overhang_m: float = 0.4,
    eave_z_m: float = 5.0,
    ridge_y_m: float = -1.0,
    back_pitch_rad: float | None = None,
) -> TrueRoof:
    """A gable whose ridge is off the middle, so that the back comes down lower; `eave_z_m` is the front's."""
    walls = centred(length_m, span_m)
    plan = grown(walls, overhang_m)
    back = pitch_rad if back_pitch_rad is None else back_pitch_rad
    ridge_z = eave_z_m + (ridge_y_m - plan[1]) * math.tan(pitch_rad)
    planes = (rising("n", plan[1], eave_z_m, pitch_rad), rising("s", ridge_y_m, ridge_z, back))
    return build("saltbox", [wing_of(walls, overhang_m, planes)])


def gambrel(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    upper_pitch_rad: float,
    break_m: float,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """Two slopes a side, the lower one steeper; `break_m` is the lower one's run in plan from the edge."""
    walls = centred(length_m, span_m)
    plan = grown(walls, overhang_m)
    upper = gable_planes(grown(plan, -break_m), upper_pitch_rad, eave_z_m + break_m * math.tan(pitch_rad))
    lower = gable_planes(plan, pitch_rad, eave_z_m)
    return build("gambrel", [wing_of(walls, overhang_m, lower + upper)])


def mansard(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    upper_pitch_rad: float,
    break_m: float,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """Steep slopes all round below a hip; `break_m` is the steep part's run in plan, overhang included."""
    walls = centred(length_m, span_m)
    plan = grown(walls, overhang_m)
    upper = hip_planes(grown(plan, -break_m), upper_pitch_rad, eave_z_m + break_m * math.tan(pitch_rad))
    return build("mansard", [wing_of(walls, overhang_m, hip_planes(plan, pitch_rad, eave_z_m) + upper)])


def gablet(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
    gablet_run_m: float = 1.2,
) -> TrueRoof:
    """A hip with small upright gables at the ends of its ridge, `gablet_run_m` beyond the hip's own."""
    walls = centred(length_m, span_m)
    plan = grown(walls, overhang_m)
    half_ridge = (plan[2] - plan[0]) / 2 - (plan[3] - plan[1]) / 2
    out = half_ridge + gablet_run_m
    upper = Wing(
        plan=ring((-out, plan[1], out, plan[3])),
        walls=ring((-out, walls[1], out, walls[3])),
        planes=gable_planes(plan, pitch_rad, eave_z_m),
    )
    return build("gablet", [wing_of(walls, overhang_m, hip_planes(plan, pitch_rad, eave_z_m)), upper])
