"""Parametric roofs of bodies that differ in eaves, ridge or pitch, dormers on hips, crickets.

Metres and radians; conventions as in `simple`.
"""

from __future__ import annotations

from dataclasses import replace

from .bodies import cricket, dormer, front_wing, low_wing, main_body, notched, rise_m
from .envelope import build
from .layout import centred, gable_planes, grown, hip_planes, ring, rising, wing_of
from .truth import Stack, TrueRoof
from .wings import Wing


def unequal_hip(
    *,
    length_m: float,
    span_m: float,
    pitches_rad: tuple[float, float, float, float],
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """Four slopes of four pitches (front, back, left, right) from one level of eaves."""
    walls = centred(length_m, span_m)
    x0, y0, x1, y1 = grown(walls, overhang_m)
    sides = zip("nsew", (y0, y1, x0, x1), pitches_rad, strict=True)
    planes = [rising(towards, edge, eave_z_m, pitch) for towards, edge, pitch in sides]
    return build("unequal_hip", [wing_of(walls, overhang_m, planes)])


def tee(
    *,
    main_end: str,
    wing_end: str,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    wing_span_m: float,
    wing_projection_m: float,
    wing_pitch_rad: float,
    wing_x_m: float = 0.0,
    wing_lift_m: float = 0.0,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """A body with a wing to the front; `wing_lift_m` is how much higher the wing's eaves are.

    The wing's ridge must not be higher than the main one.
    """
    top = eave_z_m + wing_lift_m + rise_m(wing_span_m, overhang_m, wing_pitch_rad)
    if top > eave_z_m + rise_m(span_m, overhang_m, pitch_rad) + 1e-9:
        raise ValueError("the wing's ridge is higher than the main ridge")
    wing = front_wing(
        wing_end,
        main_span_m=span_m,
        x_m=wing_x_m,
        width_m=wing_span_m,
        projection_m=wing_projection_m,
        pitch_rad=wing_pitch_rad,
        overhang_m=overhang_m,
        eave_z_m=eave_z_m + wing_lift_m,
    )
    body = main_body(
        main_end,
        length_m=length_m,
        span_m=span_m,
        pitch_rad=pitch_rad,
        overhang_m=overhang_m,
        eave_z_m=eave_z_m,
    )
    return build("tee", [body, wing])


def ell(
    *,
    end: str,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    wing_span_m: float,
    wing_projection_m: float,
    wing_pitch_rad: float,
    wing_lift_m: float = 0.0,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """An L: the wing runs across the left end over the whole depth and on to the front, its ridge along y.

    The main ridge runs into the wing's inner slope and must not be higher than the wing's ridge.
    """
    x0, y0, x1, y1 = centred(length_m, span_m)
    wing = (x0, y0 - wing_projection_m, x0 + wing_span_m, y1)
    wing_plan, plan = grown(wing, overhang_m), grown((x0, y0, x1, y1), overhang_m)
    lifted, inside = eave_z_m + wing_lift_m, x0 + wing_span_m / 2
    if lifted + rise_m(wing_span_m, overhang_m, wing_pitch_rad) < eave_z_m + rise_m(
        span_m, overhang_m, pitch_rad
    ):
        raise ValueError("the main ridge is higher than the wing's ridge")
    planes = gable_planes(plan, pitch_rad, eave_z_m)
    across = gable_planes(wing_plan, wing_pitch_rad, lifted, along="y")
    if end == "hip":
        planes += (rising("w", plan[2], eave_z_m, pitch_rad),)
        across = hip_planes(wing_plan, wing_pitch_rad, lifted)
    body = Wing(
        plan=ring((inside, *plan[1:])), walls=ring((inside, y0, x1, y1)), planes=planes, runs_under=True
    )
    return build("ell", [body, wing_of(wing, overhang_m, across, runs_under=True)])


def step_down(
    *,
    main_end: str,
    lower: str,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    lower_x_m: float,
    lower_width_m: float,
    lower_depth_m: float,
    lower_pitch_rad: float,
    overhang_m: float = 0.4,
    upper_overhang_m: float = 0.4,
    eave_z_m: float = 5.5,
    lower_eave_z_m: float = 2.6,
) -> TrueRoof:
    """A body with a lower "shed", "gable" or "hip" against its front wall, under the upper eave."""
    body = main_body(
        main_end,
        length_m=length_m,
        span_m=span_m,
        pitch_rad=pitch_rad,
        overhang_m=upper_overhang_m,
        eave_z_m=eave_z_m,
    )
    low = low_wing(
        lower,
        main_span_m=span_m,
        x_m=lower_x_m,
        width_m=lower_width_m,
        depth_m=lower_depth_m,
        pitch_rad=lower_pitch_rad,
        overhang_m=overhang_m,
        eave_z_m=lower_eave_z_m,
    )
    return build("step_down", [body, low])


def dormered(
    *,
    main_end: str,
    dormer_roof: str,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    dormer_width_m: float,
    dormer_pitch_rad: float,
    dormer_front_m: float,
    dormer_wall_m: float,
    dormer_overhang_m: float = 0.2,
    dormer_x_m: float = 0.0,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """A body with a dormer on its front slope.

    A `dormer_front_m` of 0 is a dormer whose front is the house's wall, going on up through the eave:
    the main eave stops at its sides.
    """
    body = main_body(
        main_end,
        length_m=length_m,
        span_m=span_m,
        pitch_rad=pitch_rad,
        overhang_m=overhang_m,
        eave_z_m=eave_z_m,
    )
    front_y = -span_m / 2 + dormer_front_m
    added = dormer(
        dormer_roof,
        body.planes[0],
        x_m=dormer_x_m,
        width_m=dormer_width_m,
        front_y_m=front_y,
        wall_m=dormer_wall_m,
        pitch_rad=dormer_pitch_rad,
        overhang_m=dormer_overhang_m,
    )
    if dormer_front_m > 0:
        return build("dormered", [body, added])
    half = dormer_width_m / 2
    gap = (dormer_x_m - half, -span_m / 2 - overhang_m, dormer_x_m + half, front_y)
    return build("dormered", [*notched(body, gap), added])


def chimney_cricket(
    *,
    length_m: float,
    span_m: float,
    pitch_rad: float,
    chimney_width_m: float,
    chimney_depth_m: float,
    chimney_x_m: float,
    chimney_back_m: float,
    cricket_pitch_rad: float,
    overhang_m: float = 0.4,
    eave_z_m: float = 3.0,
) -> TrueRoof:
    """A gable with a broad chimney, its back `chimney_back_m` below the ridge in plan, and a cricket behind.

    The roof counts as going on below the chimney, as below every other one.
    """
    body = main_body(
        "gable",
        length_m=length_m,
        span_m=span_m,
        pitch_rad=pitch_rad,
        overhang_m=overhang_m,
        eave_z_m=eave_z_m,
    )
    saddle = cricket(
        body.planes[0],
        x_m=chimney_x_m,
        width_m=chimney_width_m,
        back_y_m=-chimney_back_m,
        pitch_rad=cricket_pitch_rad,
    )
    roof = build("chimney_cricket", [body, saddle])
    ridge_z = eave_z_m + rise_m(span_m, overhang_m, pitch_rad)
    stack = Stack(
        centre=(chimney_x_m, -chimney_back_m - chimney_depth_m / 2),
        size=(chimney_width_m, chimney_depth_m),
        turn_rad=0.0,
        foot_m=eave_z_m,
        top_m=ridge_z + 0.6,
    )
    return replace(roof, stacks=(stack,))
