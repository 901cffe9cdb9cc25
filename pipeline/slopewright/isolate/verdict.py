"""Why a candidate is no roof, as the message says it.  Metres and radians."""

from __future__ import annotations

import math

from .parts import PlanePart

LEVEL_RAD = math.radians(5)  # a surface flatter than this may be a floor or a lawn
PLANAR_LEAST = 0.3  # share of a candidate that its planes explain; foliage and domes have less
CUT_PLANAR_LEAST = 0.5  # the same for a cloud without ground, which has no trees around the roof either
LEVEL_PLANAR_LEAST = 0.8  # ... and for a level one, which may be a lawn
PITCHED_LEAST = 0.25  # of a roof in a cloud without ground: so much of it is pitched
LAWN_M2 = 400.0  # one single plane larger than this, with nothing lower around it, may be terrain
CHORD_SHARE = 1 / 3  # of a candidate; a plane that explains so much of it is a face, however it bows
MAIN_M2, MAIN_SHARE = 12.0, 0.1  # the largest plane of a roof has one or the other; tree tops have many small


def no_roof(parts: tuple[PlanePart, ...], area_m2: float) -> str:
    """Why a candidate is no roof, or nothing."""
    if not parts:
        return "no plane of any size in it: foliage, or a curved or rough surface"
    curved_m2 = sum(part.area_m2 for part in parts if part.curved)
    planar_m2 = sum(part.area_m2 for part in parts if not part.curved)
    main_m2 = max(part.area_m2 for part in parts)
    if curved_m2 > planar_m2 and main_m2 < CHORD_SHARE * area_m2:
        return "a curved surface without planes"
    if planar_m2 + curved_m2 < PLANAR_LEAST * area_m2 or main_m2 < min(MAIN_M2, MAIN_SHARE * area_m2):
        return "mostly foliage or rough surface"
    return ""


def no_ground(parts: tuple[PlanePart, ...], area_m2: float, nothing_stands: bool) -> str:
    """Why a surface with no ground around it cannot be taken for a roof, or nothing."""
    planar_m2 = sum(part.area_m2 for part in parts)
    if is_level(parts) and (area_m2 > LAWN_M2 or planar_m2 < LEVEL_PLANAR_LEAST * area_m2):
        return "a level surface with nothing lower around it, which may be a floor, a lawn or a flat roof"
    if planar_m2 < CUT_PLANAR_LEAST * area_m2:
        return "a surface of no few planes with nothing lower around it, which may be terrain"
    if nothing_stands and len(parts) == 1 and parts[0].area_m2 > LAWN_M2:
        return "one single plane with nothing lower around it, which may be a slope of terrain"
    return ""


def is_level(parts: tuple[PlanePart, ...]) -> bool:
    """Whether hardly any of a candidate is pitched."""
    pitched_m2 = sum(part.area_m2 for part in parts if part.pitch_rad > LEVEL_RAD)
    return pitched_m2 < PITCHED_LEAST * sum(part.area_m2 for part in parts)


def why(reasons: list[tuple[float, str]]) -> str:
    """The reason of the largest candidate, and the way out."""
    if not reasons:
        return (
            "no surface that stands above the ground like a roof, need a cloud that holds a building,"
            " with 10 m² or more of it seen from above"
        )
    area_m2, reason = max(reasons)
    return (
        f"no roof found; the largest candidate, {area_m2:.0f} m², is {reason}."
        " If it is a roof, give its outline with --footprint, or a cloud with the ground around it"
    )
