"""Parametric roofs as exact solids.  Metres and radians; z is up, the ground is z = 0.

Every function takes wall dimensions; the plan is larger by the overhang on every side.  `eave_z_m` is
the height of the roof surface at the eave's edge.  Ridges run along x, fronts look to -y.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from .envelope import Gradient, Wing, build
from .truth import TrueRoof, move

Box = tuple[float, float, float, float]  # x0, y0, x1, y1


def _ring(box: Box) -> tuple[tuple[float, float], ...]:
    x0, y0, x1, y1 = box
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def _grown(box: Box, by_m: float) -> Box:
    return (box[0] - by_m, box[1] - by_m, box[2] + by_m, box[3] + by_m)


def _rising(azimuth: str, edge_m: float, z_m: float, pitch_rad: float) -> Gradient:
    """The plane that has height z_m on an axis-parallel line and rises towards azimuth n, s, e or w."""
    slope = math.tan(pitch_rad)
    sign = 1.0 if azimuth in "ne" else -1.0
    c = z_m - sign * slope * edge_m
    return (0.0, sign * slope, c) if azimuth in "ns" else (sign * slope, 0.0, c)


def _gable_planes(plan: Box, pitch_rad: float, eave_z_m: float, *, along: str = "x") -> tuple[Gradient, ...]:
    x0, y0, x1, y1 = plan
    if along == "x":
        return (_rising("n", y0, eave_z_m, pitch_rad), _rising("s", y1, eave_z_m, pitch_rad))
    return (_rising("e", x0, eave_z_m, pitch_rad), _rising("w", x1, eave_z_m, pitch_rad))


def _wing(walls: Box, overhang_m: float, planes: Sequence[Gradient], **more: bool) -> Wing:
    return Wing(plan=_ring(_grown(walls, overhang_m)), walls=_ring(walls), planes=tuple(planes), **more)


def _centred(length_m: float, span_m: float) -> Box:
    return (-length_m / 2, -span_m / 2, length_m / 2, span_m / 2)


def gable(
    *, length_m: float, span_m: float, pitch_rad: float, overhang_m: float = 0.4, eave_z_m: float = 3.0
) -> TrueRoof:
    """Two slopes, a level ridge along x."""
    walls = _centred(length_m, span_m)
    planes = _gable_planes(_grown(walls, overhang_m), pitch_rad, eave_z_m)
    return build("gable", [_wing(walls, overhang_m, planes)])


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
    walls = _centred(length_m, span_m)
    planes = _hip_planes(_grown(walls, overhang_m), pitch_rad, eave_z_m, end_pitch_rad)
    return build("hip", [_wing(walls, overhang_m, planes)])


def _hip_planes(
    plan: Box, pitch_rad: float, eave_z_m: float, end_pitch_rad: float | None = None
) -> tuple[Gradient, ...]:
    end = pitch_rad if end_pitch_rad is None else end_pitch_rad
    return _gable_planes(plan, pitch_rad, eave_z_m) + _gable_planes(plan, end, eave_z_m, along="y")


def pyramid(*, span_m: float, pitch_rad: float, overhang_m: float = 0.4, eave_z_m: float = 3.0) -> TrueRoof:
    """Four equal slopes that meet in a point."""
    walls = _centred(span_m, span_m)
    planes = _hip_planes(_grown(walls, overhang_m), pitch_rad, eave_z_m)
    return build("pyramid", [_wing(walls, overhang_m, planes)])


def shed(
    *, length_m: float, span_m: float, pitch_rad: float, overhang_m: float = 0.4, eave_z_m: float = 3.0
) -> TrueRoof:
    """One slope, falling to -y."""
    walls = _centred(length_m, span_m)
    plan = _grown(walls, overhang_m)
    return build("shed", [_wing(walls, overhang_m, [_rising("n", plan[1], eave_z_m, pitch_rad)])])


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
    main = _centred(length_m, span_m)
    plan = _grown(main, overhang_m)
    wing = (wing_x_m - wing_span_m / 2, main[1] - wing_projection_m, wing_x_m + wing_span_m / 2, 0.0)
    wing_plan = _grown(wing, overhang_m)
    wing_pitch = pitch_rad if wing_pitch_rad is None else wing_pitch_rad
    rise = (wing_plan[2] - wing_plan[0]) / 2 * math.tan(wing_pitch)
    if rise > (plan[3] - plan[1]) / 2 * math.tan(pitch_rad) + 1e-9:
        raise ValueError("the wing's ridge is higher than the main ridge")
    return build(
        "cross_gable",
        [
            _wing(main, overhang_m, _gable_planes(plan, pitch_rad, eave_z_m)),
            Wing(
                plan=_ring((wing_plan[0], wing_plan[1], wing_plan[2], 0.0)),
                walls=_ring(wing),
                planes=_gable_planes(wing_plan, wing_pitch, eave_z_m, along="y"),
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
    main = _centred(length_m, span_m)
    plan = _grown(main, upper_overhang)
    half = lower_width_m / 2
    if side == "eave":
        walls: Box = (-half, main[1] - lower_depth_m, half, main[1])
        low_plan = (walls[0] - overhang_m, walls[1] - overhang_m, walls[2] + overhang_m, walls[3])
    else:
        walls = (main[2], -half, main[2] + lower_depth_m, half)
        low_plan = (walls[0], walls[1] - overhang_m, walls[2] + overhang_m, walls[3] + overhang_m)
    if lower == "shed":
        planes: tuple[Gradient, ...] = (
            _rising("n", low_plan[1], lower_eave_z_m, lower_pitch_rad)
            if side == "eave"
            else _rising("w", low_plan[2], lower_eave_z_m, lower_pitch_rad),
        )
    else:
        along = "y" if side == "eave" else "x"
        planes = _gable_planes(low_plan, lower_pitch_rad, lower_eave_z_m, along=along)
    return build(
        "two_level",
        [
            _wing(main, upper_overhang, _gable_planes(plan, pitch_rad, eave_z_m)),
            Wing(plan=_ring(low_plan), walls=_ring(walls), planes=planes, runs_under=True),
        ],
    )


def random_roof(kind: str, rng: np.random.Generator) -> TrueRoof:
    """A roof of a kind with sizes, pitch, overhang, eave height and bearing drawn at random.

    Sizes 6 to 20 m, pitch 2 to 18 in 12 (mostly 4 to 12), overhang 0.2 to 0.6 m, eaves 2.4 to 6 m.
    """
    return move(_DRAW[kind](rng), float(rng.uniform(0, 2 * math.pi)), (0.0, 0.0, 0.0))


def _pitch(rng: np.random.Generator) -> float:
    steep = rng.uniform(4, 12) if rng.random() < 0.8 else rng.uniform(2, 18)
    return math.atan(float(steep) / 12)


def _common(rng: np.random.Generator) -> dict[str, float]:
    length = float(rng.uniform(8, 20))
    return {
        "length_m": length,
        "span_m": float(rng.uniform(6, min(length, 13))),
        "pitch_rad": _pitch(rng),
        "overhang_m": float(rng.uniform(0.2, 0.6)),
        "eave_z_m": float(rng.uniform(2.4, 6)),
    }


def _draw_cross_gable(rng: np.random.Generator) -> TrueRoof:
    common = _common(rng)
    equal = rng.random() < 0.3
    width = common["span_m"] if equal else float(rng.uniform(0.5, 0.9)) * common["span_m"]
    width = min(width, common["length_m"] - 2.0)
    room = (common["length_m"] - width) / 2 - 0.8
    return cross_gable(
        **common,
        wing_span_m=width,
        wing_projection_m=float(rng.uniform(2, 6)),
        wing_pitch_rad=common["pitch_rad"] if equal else common["pitch_rad"] * float(rng.uniform(0.85, 1.0)),
        wing_x_m=float(rng.uniform(-1, 1)) * max(room, 0.0),
    )


def _draw_two_level(rng: np.random.Generator) -> TrueRoof:
    common = _common(rng)
    side = str(rng.choice(["eave", "gable"]))
    room = common["length_m"] if side == "eave" else common["span_m"]
    common["eave_z_m"] = float(rng.uniform(5.2, 6.5))
    return two_level(
        **common,
        side=side,
        lower=str(rng.choice(["shed", "gable"])),
        lower_width_m=room * float(rng.uniform(0.5, 0.85)),
        lower_depth_m=float(rng.uniform(2.5, 5)),
        lower_pitch_rad=math.atan(float(rng.uniform(2, 5)) / 12),
        upper_overhang_m=0.0 if rng.random() < 0.4 else common["overhang_m"],
        lower_eave_z_m=float(rng.uniform(2.3, 2.7)),
    )


_DRAW: dict[str, Callable[[np.random.Generator], TrueRoof]] = {
    "gable": lambda rng: gable(**_common(rng)),
    "hip": lambda rng: hip(**_common(rng)),
    "shed": lambda rng: shed(**(_common(rng) | {"pitch_rad": math.atan(float(rng.uniform(2, 8)) / 12)})),
    "cross_gable": _draw_cross_gable,
    "two_level": _draw_two_level,
}

KINDS = tuple(_DRAW)
