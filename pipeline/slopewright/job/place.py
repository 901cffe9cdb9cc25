"""Where in the cloud: --at and --footprint, from the file's own coordinates and unit to local metres."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import shapely
import shapely.geometry

from ..errors import InputError
from ..scene import Array, Cloud
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


def local_footprint(path: Path, cloud: Cloud) -> Array:
    """The polygon of a GeoJSON file as local metres.

    Parameters
    ----------
    path : Path
        GeoJSON with one Polygon (bare, a Feature, or a collection of one), coordinates in the cloud's own
        reference system and unit.
    cloud : Cloud

    Returns
    -------
    array, shape (k, 2) [m]
        Outer ring, open, in the frame of `cloud.xyz`.

    Raises
    ------
    InputError
        If the file is no such GeoJSON, the polygon crosses itself, or it does not meet the cloud.
    """
    polygon = _one_polygon(path)
    ring = np.asarray(polygon.exterior.coords)[:-1, :2]
    low, high = cloud.xyz[:, :2].min(axis=0), cloud.xyz[:, :2].max(axis=0)
    world = np.abs(np.concatenate([low + cloud.origin[:2], high + cloud.origin[:2]])).max()
    if world > EARTH_LIKE and (np.abs(ring) <= (MAX_LONGITUDE, MAX_LATITUDE)).all():
        raise InputError(
            f"{path}: coordinates look like degrees, need the cloud's own system, {_extent(cloud)}"
        )
    local = ring * METRES_PER_UNIT[cloud.unit] - cloud.origin[:2]
    if not shapely.Polygon(local).intersects(shapely.box(*low, *high)):
        raise InputError(f"{path}: polygon lies outside {cloud.name}, {_extent(cloud)}")
    return np.ascontiguousarray(local)


def _one_polygon(path: Path) -> shapely.Polygon:
    try:
        content: Any = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}, need a GeoJSON file") from error
    except ValueError as error:
        raise InputError(f"{path}: not JSON: {error}, need a GeoJSON file") from error
    geometries = list(_geometries(content))
    kinds = [geometry.get("type") for geometry in geometries]
    if kinds != ["Polygon"]:
        found = ", ".join(map(str, kinds)) or "no geometry"
        raise InputError(f"{path}: found {found}, need GeoJSON with one Polygon")
    try:
        polygon = shapely.geometry.shape(geometries[0])
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, shapely.GEOSException) as error:
        raise InputError(f"{path}: coordinates are not those of a Polygon, need rings of [x, y]") from error
    if polygon.is_empty or not polygon.is_valid or not np.isfinite(polygon.bounds).all():
        raise InputError(f"{path}: {shapely.is_valid_reason(polygon)}, need a polygon that encloses an area")
    return polygon


def _geometries(content: Any) -> list[dict[str, Any]]:
    """The geometries of a GeoJSON text (RFC 7946, sections 3.1 to 3.3)."""
    if not isinstance(content, dict):
        return []
    kind = content.get("type")
    if kind == "FeatureCollection":
        features = content.get("features")
        return [g for feature in features for g in _geometries(feature)] if isinstance(features, list) else []
    if kind == "Feature":
        return _geometries(content.get("geometry"))
    if kind == "GeometryCollection":
        parts = content.get("geometries")
        return [g for part in parts for g in _geometries(part)] if isinstance(parts, list) else []
    return [content] if "coordinates" in content else []


def _extent(cloud: Cloud) -> str:
    """What the cloud covers, in its own coordinates."""
    unit_m = METRES_PER_UNIT[cloud.unit]
    low = (cloud.xyz[:, :2].min(axis=0) + cloud.origin[:2]) / unit_m
    high = (cloud.xyz[:, :2].max(axis=0) + cloud.origin[:2]) / unit_m
    return f"which spans x {low[0]:.1f} to {high[0]:.1f} and y {low[1]:.1f} to {high[1]:.1f} {cloud.unit}"
