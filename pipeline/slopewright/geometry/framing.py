"""Lengths and areas of framed roofs from run and pitch, as carpenters' handbooks define them.

Any one unit of length in, the same out; pitch in radians.

References
----------
.. [1] US Navy, NAVEDTRA 14044 *Builder 3 & 2*, vol. 2: total run, unit run, rafter and hip lengths.
.. [2] US Army Engineer subcourse EN0069A, *Frame Structures*.
"""

from __future__ import annotations

import math

from ..errors import InputError


def slope_factor(pitch_rad: float) -> float:
    """Length along the slope of one unit of level run, which is also roof area of one unit of plan area.

    Parameters
    ----------
    pitch_rad : float
        Pitch [rad], 0 <= pitch < pi/2.

    Returns
    -------
    float
        sqrt(1 + tan² pitch) = 1 / cos pitch.

    Raises
    ------
    InputError
        If the pitch is not in its range.
    """
    return math.hypot(1.0, _tangent(pitch_rad))


def hip_valley_factor(pitch_rad: float) -> float:
    """Length of a regular hip or valley for one unit of the **common** run (not of its own plan length).

    Regular means equal pitches that meet at a right angle in plan, so that the hip's plan length is
    sqrt 2 times the common run: sqrt(2 + tan² pitch).  Range and errors as `slope_factor`.
    """
    return math.hypot(math.sqrt(2.0), _tangent(pitch_rad))


def rafter_length(run: float, pitch_rad: float) -> float:
    """Length of a common rafter over a level `run`, from ridge line to plumb line of the plate."""
    return _not_negative("run", run) * slope_factor(pitch_rad)


def hip_length(common_run: float, pitch_rad: float) -> float:
    """Length of a regular hip or valley rafter whose common rafters have the level run `common_run`."""
    return _not_negative("common_run", common_run) * hip_valley_factor(pitch_rad)


def area_on_slope(plan_area: float, pitch_rad: float) -> float:
    """Area of a roof plane that covers `plan_area`; the same for gable, hip and shed of one pitch."""
    return _not_negative("plan_area", plan_area) * slope_factor(pitch_rad)


def gable_triangle_area(span: float, rise: float) -> float:
    """Area of the wall triangle under a gable: half of span times rise."""
    return _not_negative("span", span) * _not_negative("rise", rise) / 2


def regular_hip_roof_area(length: float, span: float, pitch_rad: float) -> float:
    """Area of a regular hip roof of one pitch over a rectangle, from its two trapezoids and two triangles.

    Parameters
    ----------
    length, span : float
        Sides of the plan, length >= span > 0.
    pitch_rad : float
        Pitch [rad] of all four planes.

    Returns
    -------
    float
        Area in the square of the unit of the sides.

    Raises
    ------
    InputError
        If length is less than span, or a value is out of range.
    """
    if length < span:
        raise InputError(f"length: got {length:g}, need at least the span {span:g}")
    rafter = rafter_length(span / 2, pitch_rad)
    ridge = length - span
    trapezoids = 2 * (length + ridge) / 2 * rafter
    triangles = 2 * span * rafter / 2
    return trapezoids + triangles


def _tangent(pitch_rad: float) -> float:
    if not 0 <= pitch_rad < math.pi / 2:
        raise InputError(f"pitch_rad: got {pitch_rad:g}, need 0 <= pitch < pi/2")
    return math.tan(pitch_rad)


def _not_negative(name: str, value: float) -> float:
    if not (value >= 0 and math.isfinite(value)):
        raise InputError(f"{name}: got {value:g}, need a finite value of at least 0")
    return value
