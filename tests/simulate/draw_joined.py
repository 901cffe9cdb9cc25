"""Roofs of several bodies drawn at random.  Metres, radians.

What is drawn blindly may have faces too thin to be built, or fall apart in plan: such a draw is thrown away.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from . import shapes
from .bodies import dormer, front_wing, low_wing, main_body, turned
from .envelope import build
from .truth import TrueRoof
from .wings import Wing

MIN_FACE_M2 = 0.8
MIN_EDGE_M = 0.35
MIN_CRICKET_M2 = 0.15  # half of the smallest, behind a chimney 0.9 m broad
MANY = (12, 20)  # planes of a composite roof
Draw = Callable[[np.random.Generator], TrueRoof]


def sound(draw: Draw, least_face_m2: float = MIN_FACE_M2) -> Draw:
    """The same draw, until it can be built: in one piece, and without splinters."""

    def drawn(rng: np.random.Generator) -> TrueRoof:
        while True:
            try:
                roof = draw(rng)
            except ValueError:  # the sizes do not go together
                continue
            if is_sound(roof, least_face_m2):
                return roof

    return drawn


def is_sound(roof: TrueRoof, least_face_m2: float) -> bool:
    """Is the roof one piece in plan, with faces and edges of a size that is built?"""
    return (
        roof.footprint.geom_type == "Polygon"
        and min(p.area_m2 for p in roof.planes) > least_face_m2
        and min(e.length_m for e in roof.edges) > MIN_EDGE_M
    )


def pitch(rng: np.random.Generator, low: float = 4.0, high: float = 12.0) -> float:
    """A pitch between so many in 12 [rad]."""
    return math.atan(float(rng.uniform(low, high)) / 12)


def _body(rng: np.random.Generator, longest_m: float = 18.0) -> dict[str, float]:
    length = float(rng.uniform(9, longest_m))
    return {
        "length_m": length,
        "span_m": float(rng.uniform(6.5, min(length, 12))),
        "pitch_rad": pitch(rng) if rng.random() < 0.8 else pitch(rng, 2, 18),
        "overhang_m": float(rng.uniform(0.2, 0.6)),
        "eave_z_m": float(rng.uniform(2.4, 6)),
    }


def _end(rng: np.random.Generator) -> str:
    return "gable" if rng.random() < 0.5 else "hip"


def unequal_hip(rng: np.random.Generator) -> TrueRoof:
    """Every side at a pitch of its own."""
    body = _body(rng)
    base = body.pop("pitch_rad")
    pitches = [min(base * float(f), math.atan(1.5)) for f in rng.uniform(0.6, 1.5, 4)]
    return shapes.unequal_hip(**body, pitches_rad=(pitches[0], pitches[1], pitches[2], pitches[3]))


def tee(rng: np.random.Generator) -> TrueRoof:
    """Equal or unequal eaves, ridges and pitches; gable or hip ends."""
    body = _body(rng)
    width = body["span_m"] * float(rng.uniform(0.45, 0.95))
    room = (body["length_m"] - width) / 2 - 0.9
    lift = 0.0 if rng.random() < 0.4 else float(rng.uniform(-1.0, 1.0))
    if room <= 0 or body["eave_z_m"] + lift < 2.3:
        raise ValueError("no room for the wing")
    return shapes.tee(
        **body,
        main_end=_end(rng),
        wing_end=_end(rng),
        wing_span_m=width,
        wing_projection_m=float(rng.uniform(2, 6)),
        wing_pitch_rad=body["pitch_rad"] * (1.0 if rng.random() < 0.4 else float(rng.uniform(0.7, 1.4))),
        wing_x_m=float(rng.uniform(-1, 1)) * room,
        wing_lift_m=lift,
    )


def ell(rng: np.random.Generator) -> TrueRoof:
    """Two gables or two hips of one or two pitches, on one or two levels of eaves."""
    body, end = _body(rng), _end(rng)
    width = body["span_m"] * float(rng.uniform(0.8, 1.3))
    across = body["pitch_rad"] * (1.0 if rng.random() < 0.4 else float(rng.uniform(0.75, 1.3)))
    lift = 0.0 if rng.random() < 0.5 else float(rng.uniform(-0.8, 0.8))
    if width > body["length_m"] - 2 or body["eave_z_m"] + lift < 2.3:
        raise ValueError("no room for the wing")
    return shapes.ell(
        **body,
        end=end,
        wing_span_m=width,
        wing_projection_m=float(rng.uniform(2.5, 6)),
        wing_pitch_rad=across,
        wing_lift_m=lift,
    )


def step_down(rng: np.random.Generator) -> TrueRoof:
    """Two levels: the lower roof ends in headwalls and sidewalls, often under the upper overhang."""
    body = _body(rng)
    width = body["length_m"] * float(rng.uniform(0.4, 0.8))
    overhang = body["overhang_m"]
    return shapes.step_down(
        **body | {"eave_z_m": float(rng.uniform(5.2, 6.5))},
        main_end=_end(rng),
        lower=str(rng.choice(["shed", "gable", "hip"])),
        lower_x_m=float(rng.uniform(-1, 1)) * (body["length_m"] - width) / 2,
        lower_width_m=width,
        lower_depth_m=float(rng.uniform(2.5, 6)),
        lower_pitch_rad=pitch(rng, 2, 6),
        upper_overhang_m=0.0 if rng.random() < 0.3 else overhang,
        lower_eave_z_m=float(rng.uniform(2.3, 2.8)),
    )


def dormered(rng: np.random.Generator) -> TrueRoof:
    """Gable, hip and shed dormers on gables and hips, set back or flush with the wall below."""
    roof = str(rng.choice(["gable", "hip", "shed"]))
    steep = pitch(rng, 8, 13)
    length = float(rng.uniform(11, 18))
    width = float(rng.uniform(2.5, 5) if roof == "shed" else rng.uniform(1.5, 3))
    return shapes.dormered(
        main_end=_end(rng),
        dormer_roof=roof,
        length_m=length,
        span_m=float(rng.uniform(8.5, 12)),
        pitch_rad=steep,
        dormer_width_m=width,
        dormer_pitch_rad=pitch(rng, 2, 3.5) if roof == "shed" else steep * float(rng.uniform(0.8, 1.0)),
        dormer_front_m=0.0 if rng.random() < 0.4 else float(rng.uniform(0.3, 1.2)),
        dormer_wall_m=float(rng.uniform(0.9, 1.4)),
        dormer_overhang_m=float(rng.uniform(0.1, 0.25)),
        dormer_x_m=float(rng.uniform(-0.3, 0.3)) * (length - width),
        overhang_m=float(rng.uniform(0.3, 0.6)),
        eave_z_m=float(rng.uniform(2.4, 5)),
    )


def chimney_cricket(rng: np.random.Generator) -> TrueRoof:
    """A chimney 0.9 to 2.6 m broad, its back below the ridge."""
    body = _body(rng) | {"pitch_rad": pitch(rng, 5, 12)}
    width = float(rng.uniform(0.9, 2.6))
    return shapes.chimney_cricket(
        **body,
        chimney_width_m=width,
        chimney_depth_m=float(rng.uniform(0.5, 0.9)),
        chimney_x_m=float(rng.uniform(-0.3, 0.3)) * body["length_m"],
        chimney_back_m=body["span_m"] * float(rng.uniform(0.2, 0.3)),
        cricket_pitch_rad=body["pitch_rad"] * float(rng.uniform(0.7, 1.0)),
    )


def composite(rng: np.random.Generator) -> TrueRoof:
    """A body with wings, dormers and a low roof on its sides: 12 to 20 planes."""
    body = _body(rng, 22.0) | {"length_m": float(rng.uniform(14, 22)), "span_m": float(rng.uniform(8.5, 12))}
    body |= {"pitch_rad": pitch(rng, 6, 12), "eave_z_m": float(rng.uniform(3.0, 6.0))}
    main = main_body(_end(rng), **body)
    wings = [main]
    for quarters in (0, 2):
        wings += [turned(wing, quarters) for wing in _side(rng, body, main)]
    if rng.random() < 0.7:
        low = low_wing(
            str(rng.choice(["shed", "gable", "hip"])),
            main_span_m=body["length_m"],
            x_m=0.0,
            width_m=body["span_m"] * float(rng.uniform(0.5, 0.8)),
            depth_m=float(rng.uniform(3, 6)),
            pitch_rad=pitch(rng, 3, 7),
            overhang_m=body["overhang_m"],
            eave_z_m=body["eave_z_m"] - (0.0 if body["eave_z_m"] < 5 else 2.6),
        )
        wings.append(turned(low, 1))
    roof = build("composite", wings)
    if not MANY[0] <= len(roof.planes) <= MANY[1]:
        raise ValueError("too few planes or too many")
    return roof


def _side(rng: np.random.Generator, body: dict[str, float], main: Wing) -> list[Wing]:
    """What stands on one long side: places side by side, each with a wing, a dormer or nothing."""
    n_places = int(rng.integers(2, 4))
    place = (body["length_m"] - 1.5) / n_places
    side = []
    for i in range(n_places):
        x = -body["length_m"] / 2 + 0.75 + (i + 0.5) * place
        what = rng.random()
        if what < 0.4:
            width = min(place - 2 * body["overhang_m"] - 0.4, body["span_m"] * 0.9)
            side.append(
                front_wing(
                    _end(rng),
                    main_span_m=body["span_m"],
                    x_m=x,
                    width_m=width * float(rng.uniform(0.8, 1.0)),
                    projection_m=float(rng.uniform(1.2, 5)),
                    pitch_rad=body["pitch_rad"]
                    * (1.0 if rng.random() < 0.5 else float(rng.uniform(0.8, 1.1))),
                    overhang_m=body["overhang_m"],
                    eave_z_m=body["eave_z_m"]
                    + (0.0 if rng.random() < 0.6 else float(rng.uniform(-0.6, 0.4))),
                )
            )
        elif what < 0.85:
            roof = str(rng.choice(["gable", "hip", "shed"]))
            side.append(
                dormer(
                    roof,
                    main.planes[0],
                    x_m=x,
                    width_m=min(place - 1.2, float(rng.uniform(1.6, 3.0))),
                    front_y_m=-body["span_m"] / 2 + float(rng.uniform(0.3, 1.0)),
                    wall_m=float(rng.uniform(0.9, 1.3)),
                    pitch_rad=pitch(rng, 2, 3.5) if roof == "shed" else body["pitch_rad"],
                    overhang_m=float(rng.uniform(0.1, 0.25)),
                )
            )
    return side


DRAW: dict[str, Draw] = {
    "unequal_hip": sound(unequal_hip),
    "tee": sound(tee),
    "ell": sound(ell),
    "step_down": sound(step_down),
    "dormered": sound(dormered),
    "chimney_cricket": sound(chimney_cricket, MIN_CRICKET_M2),
    "composite": sound(composite),
}
