"""Where in the cloud: --at and --footprint, from the file's own coordinates and unit to local metres."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from ..errors import InputError
from ..isolate import footprint_from_geojson
from ..scene import Cloud
from ..units import METRES_PER_UNIT

MAX_LONGITUDE, MAX_LATITUDE = 180.0, 90.0
EARTH_LIKE = 1000.0  # a cloud whose coordinates go beyond this is not in degrees


def local_point(at: tuple[float, float], cloud: Cloud) -> tuple[float, float]:
    """A point of the file's coordinates as local metres.

    Parameters
    ----------
    at : (x, y) [the cloud's unit]
    cloud : Cloud

    Returns
    -------
    (x, y) [m]
        In the frame of `cloud.xyz`.

    Raises
    ------
    InputError
        If the point lies outside the cloud.
    """
    xy = np.asarray(at) * METRES_PER_UNIT[cloud.unit] - cloud.origin[:2]
    low, high = cloud.xyz[:, :2].min(axis=0), cloud.xyz[:, :2].max(axis=0)
    if not (np.isfinite(xy).all() and (xy >= low).all() and (xy <= high).all()):
        raise InputError(f"--at {at[0]:g} {at[1]:g}: outside {cloud.name}, {_extent(cloud)}")
    return float(xy[0]), float(xy[1])


def local_footprint(path: Path, cloud: Cloud) -> shapely.Polygon:
    """The polygon of a GeoJSON file as local metres.

    Parameters
    ----------
    path : Path
        GeoJSON with one Polygon (bare, a Feature, or a collection of one), coordinates in the cloud's own
        reference system and unit.
    cloud : Cloud

    Returns
    -------
    shapely.Polygon [m]
        In the frame of `cloud.xyz`.

    Raises
    ------
    InputError
        If the file is no such GeoJSON, the polygon crosses itself, or it does not meet the cloud.
    """
    polygon = footprint_from_geojson(_read_geojson(path), file=str(path))
    ring = np.asarray(polygon.exterior.coords)
    low, high = cloud.xyz[:, :2].min(axis=0), cloud.xyz[:, :2].max(axis=0)
    world = np.abs(np.concatenate([low + cloud.origin[:2], high + cloud.origin[:2]])).max()
    if world > EARTH_LIKE and (np.abs(ring) <= (MAX_LONGITUDE, MAX_LATITUDE)).all():
        raise InputError(
            f"{path}: coordinates look like degrees, need the cloud's own system, {_extent(cloud)}"
        )
    metres, shift = METRES_PER_UNIT[cloud.unit], cloud.origin[:2]
    local = shapely.transform(polygon, lambda xy: xy * metres - shift)
    if not local.intersects(shapely.box(*low, *high)):
        raise InputError(f"{path}: polygon lies outside {cloud.name}, {_extent(cloud)}")
    return local


def _read_geojson(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}, need a GeoJSON file") from error
    except ValueError as error:
        raise InputError(f"{path}: not JSON: {error}, need a GeoJSON file") from error


def _extent(cloud: Cloud) -> str:
    """What the cloud covers, in its own coordinates."""
    unit_m = METRES_PER_UNIT[cloud.unit]
    low = (cloud.xyz[:, :2].min(axis=0) + cloud.origin[:2]) / unit_m
    high = (cloud.xyz[:, :2].max(axis=0) + cloud.origin[:2]) / unit_m
    return f"which spans x {low[0]:.1f} to {high[0]:.1f} and y {low[1]:.1f} to {high[1]:.1f} {cloud.unit}"
