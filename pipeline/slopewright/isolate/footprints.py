"""A footprint polygon from GeoJSON (RFC 7946), in the coordinates it is written in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from ..errors import InputError

NEED = "need one Polygon"


def footprint_from_geojson(document: Mapping[str, Any], *, file: str) -> shapely.Polygon:
    """Read the one polygon of a GeoJSON document.

    Parameters
    ----------
    document : mapping
        The parsed document: a Polygon, a MultiPolygon of one part, a Feature with one of these, or a
        FeatureCollection with one such feature [1]_.
    file : str
        Its name, for messages.

    Returns
    -------
    shapely.Polygon
        Counter-clockwise, in the document's coordinates; a third coordinate is left out.

    Raises
    ------
    InputError
        If it is not GeoJSON, holds no polygon or several, or the polygon is not a valid area.

    References
    ----------
    .. [1] H. Butler et al., "The GeoJSON Format," RFC 7946, 2016, doi:10.17487/RFC7946.
    """
    geometry = _only_geometry(document, file)
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if kind == "MultiPolygon" and isinstance(coordinates, list) and len(coordinates) == 1:
        coordinates = coordinates[0]
    elif kind != "Polygon":
        parts = (
            f" of {len(coordinates)} parts"
            if isinstance(coordinates, list) and kind == "MultiPolygon"
            else ""
        )
        raise InputError(f"{file}: geometry is a {str(kind)[:40]}{parts}, {NEED}")
    if not isinstance(coordinates, list) or not coordinates:
        raise InputError(f"{file}: coordinates: no rings, {NEED}")
    rings = [_ring(ring, k, file) for k, ring in enumerate(coordinates)]
    polygon = shapely.Polygon(rings[0], rings[1:])
    if not polygon.is_valid:
        raise InputError(
            f"{file}: polygon: {shapely.is_valid_reason(polygon)}, need an outline that does not cross itself"
        )
    if polygon.area <= 0:
        raise InputError(f"{file}: polygon: has no area, {NEED}")
    return orient(polygon)


def _only_geometry(document: object, file: str) -> Mapping[str, Any]:
    if not isinstance(document, Mapping):
        raise InputError(f"{file}: is a {type(document).__name__}, need a GeoJSON object")
    kind = document.get("type")
    if kind == "FeatureCollection":
        features = document.get("features")
        if not isinstance(features, list) or len(features) != 1:
            got = f"{len(features)} features" if isinstance(features, list) else "no list"
            raise InputError(f"{file}: features: {got}, need one feature: the footprint of one roof")
        return _only_geometry(features[0], file)
    if kind == "Feature":
        return _only_geometry(document.get("geometry"), file)
    if not isinstance(kind, str):
        raise InputError(f"{file}: type: missing, need a GeoJSON Polygon or Feature")
    return document


def _ring(ring: object, k: int, file: str) -> list[tuple[float, float]]:
    where = f"{file}: coordinates[{k}]"
    if not isinstance(ring, list) or len(ring) < 4:
        raise InputError(f"{where}: fewer than 4 positions, need a closed ring")
    try:
        corners = [(float(position[0]), float(position[1])) for position in ring]
    except (TypeError, ValueError, IndexError, KeyError) as error:
        raise InputError(f"{where}: not a list of [x, y], need numbers") from error
    if not np.isfinite(corners).all():
        raise InputError(f"{where}: a number that is not finite")
    if corners[0] != corners[-1]:
        raise InputError(f"{where}: first and last position differ, need a closed ring")
    return corners
