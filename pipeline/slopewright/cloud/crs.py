"""Units and trustworthiness of a coordinate reference system: which lengths its numbers are."""

from __future__ import annotations

import math
from typing import Any

from ..errors import InputError
from ..scene import Notice
from ..units import METRES_PER_UNIT
from .raw import Placement, UnitClaim

SAME_UNIT = 1e-7  # relative; WKT writers cut the survey foot to 10 digits, and ft and us-ft differ by 2e-6
STRETCH_NOTICE = 1e-4  # grid over ground; one part in 10,000 is the design limit of US state plane zones
STRETCH_REFUSED = 5e-3  # 1 % of area: more than any bound we report, and no cadastral grid comes near it
MERCATOR_METHODS = {"1024", "9804", "9805", "1026"}  # EPSG: pseudo, variants A and B, spherical

NEED_GRID = "need a projected grid (UTM, state plane, national grid) in m, ft or us-ft"


def placement_from_wkt(name: str, text: str, source: str) -> Placement:
    """Read a CRS given as WKT.

    Parameters
    ----------
    name : str
        File name, for messages.
    text : str
        WKT 1 or 2.
    source : str
        Where the text stands in the file, for messages.

    Raises
    ------
    InputError
        If it cannot be read, or lengths in it are not lengths on the ground.
    """
    import pyproj

    try:
        crs = pyproj.CRS.from_wkt(text)
    except (pyproj.exceptions.CRSError, UnicodeError) as error:
        raise InputError(
            f"{name}: {source}: coordinate system cannot be read, need valid WKT, or none and --unit"
        ) from error
    return placement_from_crs(name, crs, source)


def placement_from_crs(name: str, crs: Any, source: str) -> Placement:
    """Units, code and notices of a pyproj CRS; refuses what cannot be measured in."""
    refuse_unmeasurable(name, crs)
    return Placement(crs=crs_label(crs), claims=(units_of_crs(name, crs, source),))


def refuse_unmeasurable(name: str, crs: Any) -> None:
    """Raise InputError for degrees, geocentric axes, stretched web maps and depths."""
    if crs.is_geographic:
        raise InputError(f"{name}: coordinates in degrees ({_short(crs)}), {NEED_GRID}")
    if crs.is_geocentric:
        raise InputError(f"{name}: geocentric coordinates ({_short(crs)}), z is not up, {NEED_GRID}")
    if _method_code(crs) in MERCATOR_METHODS:
        raise InputError(f"{name}: {_short(crs)} is a Mercator map, which stretches lengths, {NEED_GRID}")
    if any(axis.direction == "down" for axis in crs.axis_info):
        raise InputError(f"{name}: {_short(crs)} counts depth downwards, need heights with z up")


def units_of_crs(name: str, crs: Any, source: str) -> UnitClaim:
    """Horizontal and vertical unit of a CRS."""
    horizontal = {
        unit_from_factor(name, axis.unit_conversion_factor, axis.unit_name)
        for axis in crs.axis_info
        if axis.direction not in ("up", "down")
    }
    vertical = {
        unit_from_factor(name, axis.unit_conversion_factor, axis.unit_name)
        for axis in crs.axis_info
        if axis.direction == "up"
    }
    if len(horizontal) > 1:
        raise InputError(f"{name}: {source}: x and y in different units, need one unit for both")
    return UnitClaim(
        source=source,
        horizontal=horizontal.pop() if horizontal else None,
        vertical=vertical.pop() if vertical else None,
    )


def unit_from_factor(name: str, metres: float, said: str) -> str:
    """Name of the unit that is `metres` long: "m", "ft" or "us-ft"."""
    for unit, factor in METRES_PER_UNIT.items():
        if math.isclose(metres, factor, rel_tol=SAME_UNIT):
            return unit
    raise InputError(f"{name}: coordinate system in unit {said} ({metres:.10g} m), need m, ft or us-ft")


def crs_label(crs: Any) -> str:
    """ "EPSG:nnnn" of the CRS, or of its horizontal part, if that has the same units; else WKT."""
    import pyproj

    horizontal = _horizontal(crs)
    candidates = [crs, horizontal] if crs.is_compound else [horizontal]
    for candidate in candidates:
        code = None if _datum_unknown(candidate) else candidate.to_epsg()
        if code is None:
            continue
        known = pyproj.CRS.from_epsg(code)
        ours = [axis.unit_conversion_factor for axis in candidate.axis_info]
        if [axis.unit_conversion_factor for axis in known.axis_info] == ours:
            return f"EPSG:{code}"
    return str(crs.to_wkt())


def check_stretch(name: str, label: str, x: float, y: float) -> tuple[Notice, ...]:
    """How much longer lengths of the grid are than lengths on the ellipsoid at one place.

    Parameters
    ----------
    label : str
        CRS as "EPSG:nnnn" or WKT.
    x, y : float
        A place in the middle of the cloud [horizontal unit of the CRS].

    Returns
    -------
    tuple of Notice
        One if lengths are off by more than one part in 10,000, else none.  None either where the place
        is outside the CRS's area of use: then the cloud was shifted and the true place is not known.

    Raises
    ------
    InputError
        If lengths are off by more than half a percent.
    """
    import pyproj

    crs: Any = pyproj.CRS.from_user_input(label)
    horizontal = _horizontal(crs)
    area = horizontal.area_of_use or crs.area_of_use
    if not horizontal.is_projected or area is None:
        return ()
    grid = horizontal.to_2d()
    to_degrees = pyproj.Transformer.from_crs(grid, grid.geodetic_crs, always_xy=True)
    lon, lat = to_degrees.transform(x, y)
    if not (area.west <= lon <= area.east and area.south <= lat <= area.north):
        return ()
    factors = pyproj.Proj(grid).get_factors(lon, lat)
    stretch = max(factors.tissot_semimajor, factors.tissot_semiminor, key=lambda scale: abs(scale - 1))
    if not abs(stretch - 1) < STRETCH_REFUSED:
        raise InputError(
            f"{name}: {_short(crs)} draws lengths {stretch:.4g} times their size here, {NEED_GRID}"
        )
    if abs(stretch - 1) < STRETCH_NOTICE:
        return ()
    text = f"{_short(crs)} draws lengths {stretch:.5f} times their size at sea level here; not corrected"
    return (Notice(code="grid_scale", text=text),)


def _datum_unknown(crs: Any) -> bool:
    """Whether the datum has no name; then codes that fit its ellipsoid alone are guesses."""
    return crs.datum is not None and str(crs.datum.name).lower().startswith(("unknown", "not specified"))


def _short(crs: Any) -> str:
    code = crs.to_epsg()
    return f"EPSG:{code}" if code is not None else str(crs.name)


def _method_code(crs: Any) -> str | None:
    operation = _horizontal(crs).coordinate_operation
    return None if operation is None else str(operation.method_code)


def _horizontal(crs: Any) -> Any:
    """The part of a CRS that places points in plan, without any transformation bound to it."""
    crs = crs.source_crs if crs.is_bound else crs
    crs = crs.sub_crs_list[0] if crs.is_compound else crs
    return crs.source_crs if crs.is_bound else crs
