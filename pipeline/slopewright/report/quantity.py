"""Values with their bounds as people read them: trade units or metric, no more digits than are known.

References
----------
.. [1] JCGM 100:2008 (GUM), 7.2.6: at most two significant digits of an uncertainty, rounded up
   where that matters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..measurement import Measurement
from ..units import CUBIC_YARD_M3, FOOT_M, POUND_KG, SQUARE_M2, feet_and_inches

INFERRED = 0.5  # a plane or edge of which less was seen is called inferred
DIGITS = 2  # significant digits of a bound [1]
ROUND_DOWN_AT_MOST = 0.01  # share of a bound that rounding may take off: GUM quotes 28.05 as 28, 10.47 as 11
LOPSIDED = 0.02  # share of the width by which a value may be off the middle of its bounds


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit to print in."""

    name: str
    si: float  # how many of the inner unit (m, m²) it is
    decimals: int  # at most: nobody orders by a hundredth of a foot


FEET = Unit(name="ft", si=FOOT_M, decimals=1)
SQUARE_FEET = Unit(name="sq ft", si=FOOT_M**2, decimals=0)
SQUARES = Unit(name="squares", si=SQUARE_M2, decimals=2)
METRES = Unit(name="m", si=1.0, decimals=2)
SQUARE_METRES = Unit(name="m²", si=1.0, decimals=1)
METRIC_OF_TRADE = {  # of quantities that are kept in trade units: takeoff lines
    "sq": Unit(name="m²", si=1 / SQUARE_M2, decimals=1),
    "lf": Unit(name="m", si=1 / FOOT_M, decimals=2),
    "lb": Unit(name="kg", si=1 / POUND_KG, decimals=1),
    "yd3": Unit(name="m³", si=1 / CUBIC_YARD_M3, decimals=1),
}


def bound_decimals(half_width: float, most: int = 12) -> int:
    """Decimals that show a bound with two significant digits, or `most` of them."""
    if not half_width > 0:
        return most
    return min(max(DIGITS - 1 - math.floor(math.log10(half_width)), 0), most)


def rounded_bound(half_width: float, decimals: int) -> float:
    """A bound rounded to some decimals: up, unless rounding down takes off less than 1 % of it."""
    step = 10.0**-decimals
    nearest = round(half_width / step) * step
    if nearest < half_width * (1 - ROUND_DOWN_AT_MOST):
        return math.ceil(half_width / step) * step
    return nearest


def with_bound(measured: Measurement, unit: Unit) -> str:
    """A value with its 95 % bound, like `28.42 squares ± 0.31`; lopsided bounds as a range."""
    value, half = measured.value / unit.si, measured.half_width / unit.si
    decimals = bound_decimals(half, unit.decimals)
    middle = (measured.low + measured.high) / 2
    if abs(measured.value - middle) > LOPSIDED * measured.half_width:
        return f"{value:,.{decimals}f} {unit.name} ({bounds(measured, unit, 'to')})"
    return f"{value:,.{decimals}f} {unit.name} ± {rounded_bound(half, decimals):,.{decimals}f}"


def bounds(measured: Measurement, unit: Unit, between: str = "and") -> str:
    """The 95 % bounds as a range, like `28.11 and 28.73`."""
    decimals = bound_decimals(measured.half_width / unit.si, unit.decimals)
    low, high = (round(v / unit.si, decimals) + 0.0 for v in (measured.low, measured.high))
    return f"{low:,.{decimals}f} {between} {high:,.{decimals}f}"


def percent(share: float, digits: int = 0) -> str:
    """A share in per cent; with `digits`, that many significant ones."""
    if digits:
        return f"{100 * share:.{digits}g} %"
    if 0 < share < 0.005:
        return "under 1 %"
    if 0.995 < share < 1:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def rise_text(rise_in_12: float) -> str:
    """Pitch in trade terms, to the nearest half inch: `7.5 in 12`."""
    return f"{round(2 * rise_in_12) / 2:g} in 12"


def length_text(length_m: float, *, metric: bool) -> str:
    """A length as drawings have it: metres to a centimetre, or feet and inches to the half inch."""
    return f"{length_m:.2f}" if metric else feet_and_inches(length_m)


def angle_text(pitch_deg: float) -> str:
    """Pitch in degrees, to a tenth."""
    return f"{pitch_deg:.1f}°"
