"""Units at the edges of the program: metres and radians inside, trade units outside."""

from __future__ import annotations

import math

FOOT_M = 0.3048  # international foot, exact (NIST SP 811)
US_SURVEY_FOOT_M = 1200 / 3937  # exact definition (NIST SP 811)
INCH_M = 0.0254
SQUARE_M2 = 100 * FOOT_M**2  # one square is 100 ft² of roof surface
CUBIC_YARD_M3 = (3 * FOOT_M) ** 3
POUND_KG = 0.45359237  # exact (NIST SP 811)

METRES_PER_UNIT = {"m": 1.0, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M}


def feet_from_m(length_m: float) -> float:
    """Length [m] in international feet."""
    return length_m / FOOT_M


def squares_from_m2(area_m2: float) -> float:
    """Area [m²] in squares of 100 ft²."""
    return area_m2 / SQUARE_M2


def rise_in_12(pitch_rad: float) -> float:
    """Pitch [rad] as inches of rise in 12 inches of run."""
    return 12 * math.tan(pitch_rad)


def pitch_from_rise(rise: float, run: float = 12.0) -> float:
    """Pitch [rad] of `rise` in `run`, both in one unit."""
    return math.atan2(rise, run)


def feet_and_inches(length_m: float) -> str:
    """Length [m] as text in feet and inches to the nearest half inch, like 12' 6½\"."""
    half_inches = round(abs(length_m) / INCH_M * 2)
    feet, halves = divmod(half_inches, 24)
    inches, half = divmod(halves, 2)
    sign = "-" if length_m < 0 and half_inches else ""
    return f"{sign}{feet}' {inches}{'½' if half else ''}\""
