"""The map grid of a roof: its name, its unit, and the way to longitude and latitude."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np

from ..roof import Frame
from ..scene import Array

WGS84 = 4326  # EPSG code of longitude and latitude as RFC 7946 wants them


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """A projected coordinate system that is known."""

    crs: Any  # pyproj's
    epsg: int | None
    name: str
    wkt: str  # as GeoPackage has it: OGC 01-009
    unit_m: float  # metres in one unit of its axes
    origin: Array  # (3,) [m] of the local coordinates

    def coordinates(self, xy_m: Array) -> Array:
        """Coordinates in the grid's own unit, of local points [m], shape (n, 2)."""
        world: Array = (xy_m + self.origin[:2]) / self.unit_m
        return world

    def lon_lat(self, xy_m: Array) -> Array:
        """Longitude and latitude [degrees] of local points; not finite where the grid does not reach."""
        transformer: Any = import_module("pyproj").Transformer.from_crs(self.crs, WGS84, always_xy=True)
        east, north = self.coordinates(xy_m).T
        return np.column_stack(transformer.transform(east, north))


def grid_of(frame: Frame) -> Grid | None:
    """The grid that a frame names; None where it names none that is known and projected.

    Notes
    -----
    The cloud's reader has refused grids that distort lengths, and turned all units into metres.
    """
    if not frame.crs:
        return None
    pyproj: Any = import_module("pyproj")  # a tenth of a second: only where a grid is named
    try:
        crs = pyproj.CRS.from_user_input(frame.crs)
        if crs.is_compound:
            crs = crs.sub_crs_list[0]
        if not crs.is_projected or len(crs.axis_info) < 2:
            return None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # that the older form of WKT says less is known here
            wkt = crs.to_wkt("WKT1_GDAL")
            epsg = crs.to_epsg()
    except (pyproj.exceptions.CRSError, UnicodeError, ValueError):
        return None
    return Grid(
        crs=crs,
        epsg=epsg,
        name=str(crs.name),
        wkt=str(wkt),
        unit_m=float(crs.axis_info[0].unit_conversion_factor),
        origin=np.array(frame.origin),
    )
