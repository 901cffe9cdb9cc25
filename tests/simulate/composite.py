"""Parametric roofs of several bodies, as exact solids.  Conventions as in `simple`."""

from __future__ import annotations

import math

from .envelope import build
from .layout import Box, centred, gable_planes, grown, hip_planes, ring, rising, wing_of
from .truth import TrueRoof
from .wings import Gradient, Wing


def cross_gable(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    wing_span_m: float,
    wing_projection_m: float,
    wing_pitch_rad: float | None = None,
    wing_x_m: float = 0.0,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """A gable with a gabled wing to the front: two valleys.  All eaves are at one level.

    The wing's ridge may be as high as the main one (valleys meet at the ridge) or lower, not higher.
    """
    main = centred(length_m, span_m)
    plan = grown(main, overhang_m)
    wing = (wing_x_m - wing_span_m / 2, main[1] - wing_projection_m, wing_x_m + wing_span_m / 2, 0.0)
    wing_plan = grown(wing, overhang_m)
    wing_pitch = pitch_rad if wing_pitch_rad is None else wing_pitch_rad
    rise = (wing_plan[2] - wing_plan[0]) / 2 * math.tan(wing_pitch)
    if rise > (plan[3] - plan[1]) / 2 * math.tan(pitch_rad) + 1e-9:
        raise ValueError("the wing's ridge is higher than the main ridge")
    return build(
        "cross_gable",
        [
            wing_of(main, overhang_m, gable_planes(plan, pitch_rad, eave_z_m)),
            Wing(
                plan=ring((wing_plan[0], wing_plan[1], wing_plan[2], 0.0)),
                walls=ring(wing),
                planes=gable_planes(wing_plan, wing_pitch, eave_z_m, along="y"),
            ),
        ],
    )


def two_level(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    lower_width_m: float,
    lower_depth_m: float,
    lower_pitch_rad: float,
    lower: str = "shed",
    side: str = "eave",
    overhang_m: float = 0.4,
    upper_overhang_m: float | None = None,
    eave_z_m: float = 5.5,
    lower_eave_z_m: float = 2.6,
) -> TrueRoof:
    """A gable with a lower roof against its wall.

    Parameters
    ----------
    lower : {"shed", "gable"}
        A shed falls away from the wall and ends in a headwall; a gable's ridge runs into the wall and
        both slopes end in sidewalls.
    side : {"eave", "gable"}
        Which of the upper walls: the one under the eave (-y) or under the gable (+x).
    upper_overhang_m : float, optional
        0 puts the upper roof's edge on its wall; more hides a strip of the lower roof from above.
    """
    upper_overhang = overhang_m if upper_overhang_m is None else upper_overhang_m
    main = centred(length_m, span_m)
    plan = grown(main, upper_overhang)
    half = lower_width_m / 2
    if side == "eave":
        walls: Box = (-half, main[1] - lower_depth_m, half, main[1])
        low_plan = (walls[0] - overhang_m, walls[1] - overhang_m, walls[2] + overhang_m, walls[3])
    else:
        walls = (main[2], -half, main[2] + lower_depth_m, half)
        low_plan = (walls[0], walls[1] - overhang_m, walls[2] + overhang_m, walls[3] + overhang_m)
    if lower == "shed":
        planes: tuple[Gradient, ...] = (
            rising("n", low_plan[1], lower_eave_z_m, lower_pitch_rad)
            if side == "eave"
            else rising("w", low_plan[2], lower_eave_z_m, lower_pitch_rad),
        )
    else:
        along = "y" if side == "eave" else "x"
        planes = gable_planes(low_plan, lower_pitch_rad, lower_eave_z_m, along=along)
    return build(
        "two_level",
        [
            wing_of(main, upper_overhang, gable_planes(plan, pitch_rad, eave_z_m)),
            Wing(plan=ring(low_plan), walls=ring(walls), planes=planes, runs_under=True),
        ],
    )


def l_hip(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    wing_span_m: float,
    wing_projection_m: float,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """An L of two hipped bodies of one pitch: the wing goes to the front at the left end."""
    main = centred(length_m, span_m)
    wing = (main[0], main[1] - wing_projection_m, main[0] + wing_span_m, main[3])
    return build(
        "l_hip",
        [
            wing_of(box, overhang_m, hip_planes(grown(box, overhang_m), pitch_rad, eave_z_m))
            for box in (main, wing)
        ],
    )


def gable_dormer(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    dormer_width_m: float,
    dormer_pitch_rad: float,
    dormer_front_m: float,
    dormer_wall_m: float = 1.3,
    dormer_overhang_m: float = 0.2,
    dormer_x_m: float = 0.0,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """A gable with a gabled dormer, its front `dormer_front_m` behind the front wall, its eave
    `dormer_wall_m` above the main slope there."""
    main = centred(length_m, span_m)
    plan = grown(main, overhang_m)
    slope = rising("n", plan[1], eave_z_m, pitch_rad)
    front = main[1] + dormer_front_m
    eave = slope[1] * front + slope[2] + dormer_wall_m
    x0, x1 = dormer_x_m - dormer_width_m / 2, dormer_x_m + dormer_width_m / 2
    dormer_plan = (x0 - dormer_overhang_m, front - dormer_overhang_m, x1 + dormer_overhang_m, 0.0)
    if eave + (dormer_width_m / 2 + dormer_overhang_m) * math.tan(dormer_pitch_rad) > slope[2] + 1e-9:
        raise ValueError("the dormer's ridge is higher than the main ridge")
    return build(
        "gable_dormer",
        [
            wing_of(main, overhang_m, gable_planes(plan, pitch_rad, eave_z_m), runs_under=True),
            Wing(
                plan=ring(dormer_plan),
                walls=ring((x0, front, x1, 0.0)),
                planes=gable_planes(dormer_plan, dormer_pitch_rad, eave, along="y"),
            ),
        ],
    )


def shed_dormer(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    dormer_width_m: float,
    dormer_pitch_rad: float,
    dormer_front_m: float,
    dormer_wall_m: float = 1.3,
    dormer_overhang_m: float = 0.2,
    dormer_x_m: float = 0.0,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """A gable with a dormer under one flatter slope; sizes as in `gable_dormer`."""
    main = centred(length_m, span_m)
    plan = grown(main, overhang_m)
    slope = rising("n", plan[1], eave_z_m, pitch_rad)
    front = main[1] + dormer_front_m
    x0, x1 = dormer_x_m - dormer_width_m / 2, dormer_x_m + dormer_width_m / 2
    edge = front - dormer_overhang_m
    roof = rising("n", edge, slope[1] * front + slope[2] + dormer_wall_m, dormer_pitch_rad)
    if roof[2] > slope[2] + 1e-9:
        raise ValueError("the dormer's roof does not come down to the main slope before the ridge")
    return build(
        "shed_dormer",
        [
            wing_of(main, overhang_m, gable_planes(plan, pitch_rad, eave_z_m), runs_under=True),
            Wing(
                plan=ring((x0 - dormer_overhang_m, edge, x1 + dormer_overhang_m, 0.0)),
                walls=ring((x0, front, x1, 0.0)),
                planes=(roof,),
            ),
        ],
    )


def porch(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    porch_width_m: float,
    porch_depth_m: float,
    porch_pitch_rad: float,
    porch_x_m: float = 0.0,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.2,
) -> TrueRoof:
    """A gable whose front slope goes on at a lower pitch over an open porch."""
    main = centred(length_m, span_m)
    plan = grown(main, overhang_m)
    x0, x1 = porch_x_m - porch_width_m / 2, porch_x_m + porch_width_m / 2
    roof = rising("n", plan[1], eave_z_m, porch_pitch_rad)
    return build(
        "porch",
        [
            wing_of(main, overhang_m, gable_planes(plan, pitch_rad, eave_z_m)),
            Wing(plan=ring((x0, plan[1] - porch_depth_m, x1, plan[1])), walls=(), planes=(roof,)),
        ],
    )
