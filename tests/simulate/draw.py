"""Roofs drawn at random, kind by kind.  Metres, radians."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from . import draw_joined, shapes
from .truth import TrueRoof, move


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
    return shapes.cross_gable(
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
    return shapes.two_level(
        **common,
        side=side,
        lower=str(rng.choice(["shed", "gable"])),
        lower_width_m=room * float(rng.uniform(0.5, 0.85)),
        lower_depth_m=float(rng.uniform(2.5, 5)),
        lower_pitch_rad=math.atan(float(rng.uniform(2, 5)) / 12),
        upper_overhang_m=0.0 if rng.random() < 0.4 else common["overhang_m"],
        lower_eave_z_m=float(rng.uniform(2.3, 2.7)),
    )


def _draw_l_hip(rng: np.random.Generator) -> TrueRoof:
    common = _common(rng)
    common["length_m"] = max(common["length_m"], common["span_m"] + 2)
    width = common["span_m"] * (1.0 if rng.random() < 0.3 else float(rng.uniform(0.7, 0.95)))
    return shapes.l_hip(**common, wing_span_m=width, wing_projection_m=float(rng.uniform(2.5, 6)))


def _roomy(rng: np.random.Generator) -> dict[str, float]:
    """A body tall enough for a dormer."""
    return _common(rng) | {
        "span_m": float(rng.uniform(8.5, 13)),
        "length_m": float(rng.uniform(10, 18)),
        "pitch_rad": math.atan(float(rng.uniform(8, 13)) / 12),
    }


def _draw_gable_dormer(rng: np.random.Generator) -> TrueRoof:
    common = _roomy(rng)
    width = float(rng.uniform(1.4, 2.4))
    return shapes.gable_dormer(
        **common,
        dormer_width_m=width,
        dormer_pitch_rad=common["pitch_rad"] * float(rng.uniform(0.8, 1.0)),
        dormer_front_m=float(rng.uniform(0.3, 0.8)),
        dormer_wall_m=float(rng.uniform(0.8, 1.1)),
        dormer_overhang_m=float(rng.uniform(0.1, 0.25)),
        dormer_x_m=float(rng.uniform(-1, 1)) * (common["length_m"] - width) / 2 * 0.7,
    )


def _draw_shed_dormer(rng: np.random.Generator) -> TrueRoof:
    common = _roomy(rng)
    width = float(rng.uniform(2.5, 5))
    return shapes.shed_dormer(
        **common,
        dormer_width_m=width,
        dormer_pitch_rad=math.atan(float(rng.uniform(2, 3.5)) / 12),
        dormer_front_m=float(rng.uniform(0.3, 0.8)),
        dormer_wall_m=float(rng.uniform(0.9, 1.2)),
        dormer_overhang_m=float(rng.uniform(0.1, 0.25)),
        dormer_x_m=float(rng.uniform(-1, 1)) * (common["length_m"] - width) / 2 * 0.6,
    )


def _draw_double_pitch(kind: Callable[..., TrueRoof], rng: np.random.Generator) -> TrueRoof:
    common = _common(rng) | {"pitch_rad": math.atan(float(rng.uniform(14, 24)) / 12)}
    common["length_m"] = max(common["length_m"], common["span_m"] + 1)
    return kind(
        **common,
        upper_pitch_rad=math.atan(float(rng.uniform(3, 8)) / 12),
        break_m=common["span_m"] * float(rng.uniform(0.15, 0.25)),
    )


def _draw_saltbox(rng: np.random.Generator) -> TrueRoof:
    common = _common(rng) | {"pitch_rad": math.atan(float(rng.uniform(5, 9)) / 12)}
    shift = common["span_m"] * float(rng.uniform(0.1, 0.2))
    fall = 2 * shift * math.tan(common["pitch_rad"])  # how much lower the back eave is
    return shapes.saltbox(**common | {"eave_z_m": 2.4 + fall + float(rng.uniform(0, 1.0))}, ridge_y_m=-shift)


def _draw_half_hip(rng: np.random.Generator) -> TrueRoof:
    return shapes.half_hip(**_common(rng), clip=float(rng.uniform(0.25, 0.5)))


def _draw_gablet(rng: np.random.Generator) -> TrueRoof:
    common = _common(rng)
    common["length_m"] = max(common["length_m"], common["span_m"] + 2)
    return shapes.gablet(**common, gablet_run_m=common["span_m"] * float(rng.uniform(0.12, 0.2)))


def _draw_porch(rng: np.random.Generator) -> TrueRoof:
    common = _common(rng)
    common["eave_z_m"] = float(rng.uniform(3.0, 3.6))
    steep = math.tan(common["pitch_rad"])
    return shapes.porch(
        **common,
        porch_width_m=common["length_m"] * float(rng.uniform(0.4, 0.9)),
        porch_depth_m=float(rng.uniform(1.8, 3)),
        porch_pitch_rad=math.atan(steep * float(rng.uniform(0.2, 0.5))),
    )


def _draw_pyramid(rng: np.random.Generator) -> TrueRoof:
    common = _common(rng)
    del common["length_m"]
    return shapes.pyramid(**common)


_DRAW: dict[str, Callable[[np.random.Generator], TrueRoof]] = {
    "gable": lambda rng: shapes.gable(**_common(rng)),
    "hip": lambda rng: shapes.hip(**_common(rng)),
    "shed": lambda rng: shapes.shed(**_common(rng) | {"pitch_rad": math.atan(float(rng.uniform(2, 8)) / 12)}),
    "cross_gable": _draw_cross_gable,
    "two_level": _draw_two_level,
    "pyramid": _draw_pyramid,
    "l_hip": _draw_l_hip,
    "gable_dormer": _draw_gable_dormer,
    "shed_dormer": _draw_shed_dormer,
    "gambrel": lambda rng: _draw_double_pitch(shapes.gambrel, rng),
    "mansard": lambda rng: _draw_double_pitch(shapes.mansard, rng),
    "half_hip": _draw_half_hip,
    "saltbox": _draw_saltbox,
    "gablet": _draw_gablet,
    "porch": _draw_porch,
    **draw_joined.DRAW,
}

KINDS = tuple(_DRAW)
