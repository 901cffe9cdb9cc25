"""roof.geojson: planes and edges in plan, in longitude and latitude (RFC 7946)."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..roof import Roof
from ..scene import Array
from .grid import Grid
from .map_rows import edge_row, plane_row

DECIMALS = 9  # a tenth of a millimetre at the equator


def roof_geojson(roof: Roof, grid: Grid) -> dict[str, Any] | None:
    """The content of roof.geojson; None where the grid does not reach, so that no place on earth is known.

    Parameters
    ----------
    roof : Roof
    grid : Grid
        Of its frame.
    """
    places = grid.lon_lat(roof.vertices[:, :2])
    if not np.isfinite(places).all():
        return None
    planes = [
        _feature(plane_row(plane), "plane", "Polygon", [_ring(places[list(loop)]) for loop in plane.loops])
        for plane in roof.planes
    ]
    edges = [
        _feature(edge_row(edge), "edge", "LineString", _points(places[[edge.start, edge.end]]))
        for edge in roof.edges
    ]
    return {"type": "FeatureCollection", "features": planes + edges}


def _feature(row: dict[str, Any], what: str, kind: str, coordinates: Any) -> dict[str, Any]:
    return {
        "type": "Feature",
        "id": f"{what} {row['id']}",
        "geometry": {"type": kind, "coordinates": coordinates},
        "properties": {"what": what, **row},
    }


def _points(places: Array) -> list[list[float]]:
    return [[round(float(lon), DECIMALS), round(float(lat), DECIMALS)] for lon, lat in places]


def _ring(places: Array) -> list[list[float]]:
    """Closed, and turning as it does in plan: outer rings counter-clockwise (RFC 7946, 3.1.6)."""
    points = _points(places)
    return [*points, points[0]]
