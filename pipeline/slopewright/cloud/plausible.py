"""Does the size make sense?  A wrong unit turns a house into a doll's house or a mountain.  Metres."""

from __future__ import annotations

import math

import numpy as np

from ..errors import InputError
from ..scene import Cloud
from ..units import FOOT_M, METRES_PER_UNIT
from .strays import trimmed_bounds

MIN_CLOUD_M = 2.0  # larger side in plan; no roof and no useful part of one is smaller
MAX_CLOUD_M = 20_000.0  # larger side in plan; a lidar tile has 1 to 5 km
MAX_RELIEF_M = 2_000.0  # spread of heights; more is found between summit and valley only
STEEP_RELIEF_M = 100.0  # above this, the spread of heights is held against the plan
STEEP_RATIO = (
    0.6  # a tile of 200 m and more whose heights spread over 60 % of its side is no terrain with houses
)
STEEP_SIDE_M = 200.0

MIN_HOUSE_M, MAX_HOUSE_M = 3.0, 150.0  # larger side of a roof in plan
MAX_HEIGHT_M = 60.0  # ridge over ground
MAX_SLENDER = 3.0  # height over larger side; above this it is a mast, or x and y are in another unit than z
DOLL_SIDE_M, DOLL_HEIGHT_M = 5.0, 2.2  # smaller than both at once: nobody can stand in it

TYPICAL_SIDE_M, TYPICAL_HEIGHT_M = (
    14.0,
    7.0,
)  # common practice: detached house, larger side and ridge over ground
UNITS_M = {"m": 1.0, "ft": FOOT_M, "in": FOOT_M / 12, "cm": 0.01, "mm": 0.001}


def check_size(cloud: Cloud) -> None:
    """Refuse a cloud whose extent in its unit can be no scene with a house in it.

    Parameters
    ----------
    cloud : Cloud
        May be a raw scene of some kilometres or a single cut house.

    Raises
    ------
    InputError
        Naming the unit that is more likely, if one is.

    Notes
    -----
    Only sizes that make no sense at all are refused here, since terrain may be steep and tiles large;
    `check_house_size` looks at the roof itself.
    """
    low, high = trimmed_bounds(cloud.xyz)
    dx, dy, dz = (float(side) for side in high - low)
    side = max(dx, dy)
    steep = side > STEEP_SIDE_M and dz > max(STEEP_RELIEF_M, STEEP_RATIO * side)
    if MIN_CLOUD_M <= side <= MAX_CLOUD_M and dz <= MAX_RELIEF_M and not steep:
        return
    size = f"{_metres(dx)} x {_metres(dy)} x {_metres(dz)} m"
    advice = _advice(side, dz, cloud.unit)
    raise InputError(f"{cloud.name}: {size} in unit {cloud.unit} holds no house, {advice}")


def check_degrees(cloud: Cloud) -> None:
    """Refuse a cloud whose x and y are longitude and latitude, by their size against that of z.

    Raises
    ------
    InputError
        If x and y span between a tenth of a metre and ten kilometres when taken as degrees, lie in the
        range of degrees, and z spans far more in its own unit.
    """
    factor = METRES_PER_UNIT[cloud.unit]
    low, high = cloud.xyz.min(axis=0) / factor, cloud.xyz.max(axis=0) / factor
    dx, dy, dz = high - low
    x, y = np.abs(cloud.origin[:2] / factor + low[:2])
    in_range = x <= 180 and y <= 180 and min(x, y) <= 90
    if in_range and 1e-6 < max(dx, dy) < 0.1 and dz > 10 * max(dx, dy):
        raise InputError(f"{cloud.name}: x and y look like degrees, need a projected grid in m, ft or us-ft")


def check_house_size(
    extent_xy_m: tuple[float, float], height_m: float, unit: str, *, name: str = "roof"
) -> None:
    """Refuse a roof whose size can be no house.

    Parameters
    ----------
    extent_xy_m : (float, float)
        Sides of the roof in plan [m].
    height_m : float
        Highest point of the roof over the ground [m], or over its own lowest point if no ground was seen.
    unit : str
        Unit that was taken for the file: "m", "ft" or "us-ft".
    name : str
        What the message starts with.

    Raises
    ------
    InputError
        Naming the unit that is more likely, if one is.

    Notes
    -----
    A house in feet read as metres is 3.3 times too large and may still be a block of flats, and one in
    metres read as feet may be a garage: this test sees neither.  It sees what cannot be.
    """
    side = max(extent_xy_m)
    doll = side < DOLL_SIDE_M and height_m < DOLL_HEIGHT_M
    giant = side > MAX_HOUSE_M or height_m > MAX_HEIGHT_M or height_m > MAX_SLENDER * side
    if side >= MIN_HOUSE_M and not doll and not giant:
        return
    size = f"{_metres(extent_xy_m[0])} x {_metres(extent_xy_m[1])} m and {_metres(height_m)} m high"
    raise InputError(f"{name}: {size} in unit {unit} is no house, {_advice(side, height_m, unit)}")


def likely_unit(side_m: float, height_m: float, unit: str) -> str | None:
    """The unit in which a thing of this size, converted from `unit`, would be most like a house, if any."""
    taken = METRES_PER_UNIT[unit]
    best, least = None, math.inf
    for candidate, factor in UNITS_M.items():
        if math.isclose(factor, taken, rel_tol=1e-3):
            continue
        side, height = side_m * factor / taken, height_m * factor / taken
        if not (DOLL_SIDE_M <= side <= MAX_HOUSE_M and height <= MAX_HEIGHT_M):
            continue
        distance = abs(math.log(side / TYPICAL_SIDE_M)) + abs(math.log(max(height, 1e-3) / TYPICAL_HEIGHT_M))
        if distance < least:
            best, least = candidate, distance
    return best


def _advice(side_m: float, height_m: float, unit: str) -> str:
    unit_found = likely_unit(side_m, height_m, unit)
    if unit_found is None:
        return "need a cloud to scale, in m, ft or us-ft"
    if unit_found in METRES_PER_UNIT:
        return f"likely {unit_found}: need --unit {unit_found}"
    return f"likely {unit_found}: need it converted to m, ft or us-ft"


def _metres(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"
