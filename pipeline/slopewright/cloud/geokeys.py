"""GeoTIFF keys of a LAS file: which CRS and which units they state (OGC 19-008r4)."""

from __future__ import annotations

from collections.abc import Mapping

from ..errors import InputError
from .crs import NEED_GRID, placement_from_crs, unit_from_factor
from .raw import Placement, UnitClaim

MODEL_TYPE, GEODETIC_CRS, PROJECTED_CRS, LINEAR_UNITS, LINEAR_UNIT_SIZE = 1024, 2048, 3072, 3076, 3077
VERTICAL_CRS, VERTICAL_UNITS = 4096, 4099
MODEL_GEOGRAPHIC, MODEL_GEOCENTRIC = 2, 3
EPSG_RANGE = range(1024, 32767)  # OGC 19-008r4: other values are private, undefined or user-defined
EPSG_LENGTHS = range(9001, 9100)  # EPSG units of measure for length
EPSG_UNITS = {9001: "m", 9002: "ft", 9003: "us-ft"}
USER_DEFINED = 32767


def placement_from_geokeys(name: str, keys: Mapping[int, float]) -> Placement:
    """Read CRS and units from GeoTIFF keys.

    Parameters
    ----------
    name : str
        File name, for messages.
    keys : mapping
        Key id to value; only keys whose value is a number.

    Raises
    ------
    InputError
        If the keys say degrees, geocentric, or a unit other than m, ft, us-ft.

    Notes
    -----
    A user-defined projected CRS (32767) keeps its linear unit although it has no code.  The units keys
    are read beside the codes because files exist in which the two disagree; the caller refuses those.
    """
    if keys.get(MODEL_TYPE) == MODEL_GEOCENTRIC:
        raise InputError(f"{name}: geocentric coordinates (GeoTIFF keys), z is not up, {NEED_GRID}")

    label: str | None = None
    claims: list[UnitClaim] = []
    horizontal = _epsg(keys.get(PROJECTED_CRS))
    if horizontal is None and PROJECTED_CRS not in keys and LINEAR_UNITS not in keys:
        horizontal = _epsg(keys.get(GEODETIC_CRS))
    if horizontal is not None:
        found = placement_from_crs(name, horizontal, f"EPSG:{horizontal.to_epsg()}")
        label, claims = found.crs, list(found.claims)
    elif keys.get(MODEL_TYPE) == MODEL_GEOGRAPHIC:
        raise InputError(f"{name}: coordinates in degrees (GeoTIFF keys), {NEED_GRID}")

    linear = _unit(name, keys.get(LINEAR_UNITS), keys.get(LINEAR_UNIT_SIZE))
    if linear is not None:
        claims.append(UnitClaim(source="key ProjLinearUnits", horizontal=linear))

    vertical = _epsg(keys.get(VERTICAL_CRS))
    if vertical is not None and vertical.is_vertical:
        claims.extend(placement_from_crs(name, vertical, f"EPSG:{vertical.to_epsg()}").claims)
    up = _unit(name, keys.get(VERTICAL_UNITS), None)
    if up is not None:
        claims.append(UnitClaim(source="key VerticalUnits", vertical=up))
    return Placement(crs=label, claims=tuple(claims))


def _epsg(code: float | None):  # type: ignore[no-untyped-def]  # pyproj carries no types we may rely on
    import pyproj

    if code is None or int(code) not in EPSG_RANGE:
        return None
    try:
        return pyproj.CRS.from_epsg(int(code))
    except pyproj.exceptions.CRSError:
        return None  # old files put datum codes here; the units keys still speak


def _unit(name: str, code: float | None, size_m: float | None) -> str | None:
    if code is None or code == 0:
        return None
    if int(code) == USER_DEFINED:
        return None if size_m is None else unit_from_factor(name, size_m, "user-defined")
    if int(code) in EPSG_UNITS:
        return EPSG_UNITS[int(code)]
    if int(code) in EPSG_LENGTHS:
        raise InputError(f"{name}: unit of the GeoTIFF keys is EPSG:{int(code)}, need m, ft or us-ft")
    return None  # not a unit at all: some writers put a CRS code here
