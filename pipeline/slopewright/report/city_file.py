"""roof.city.json: the building as CityJSON 2.0, LoD 2, each surface with its meaning and our numbers.

References
----------
.. [1] OGC 20-072r5, CityJSON Community Standard 2.0.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..measurement import Measurement
from ..roof import Plane, Roof, RoofBody, RoofMesh, Surface
from .grid import Grid
from .jsonfile import rounded
from .mesh_file import WALLS_NOTE
from .text import plain_text

STEP_M = 1e-4  # of the whole numbers that coordinates are: a twentieth of a millimetre is far below any bound
BUILDING = "roof"
TYPES = {"roof": "RoofSurface", "wall": "WallSurface", "ground": "GroundSurface"}
CRS_ADDRESS = "https://www.opengis.net/def/crs/EPSG/0/"  # [1], 5.6: how a reference system is named


def city_json(roof: Roof, mesh: RoofMesh, grid: Grid | None, *, title: str = "") -> dict[str, Any]:
    """The content of roof.city.json.

    Parameters
    ----------
    roof : Roof
    mesh : RoofMesh
        Of that roof.
    grid : Grid or None
        Of its frame; it is named where its unit is the metre.
    title : str
        The job's name.

    Returns
    -------
    dict
        One Building.  Its geometry is a Solid where the body is closed, else a MultiSurface.  Walls stand
        below the edges, since real walls were not measured.
    """
    body = mesh.body
    steps = np.rint(body.vertices / STEP_M).astype(np.int64)
    places, row_of = np.unique(steps, axis=0, return_inverse=True)
    surfaces = [(surface, _boundary(surface, row_of.ravel())) for surface in body.surfaces]
    surfaces = [(surface, rings) for surface, rings in surfaces if rings]
    low, high = (roof.frame.origin + corner * STEP_M for corner in (places.min(axis=0), places.max(axis=0)))
    metadata: dict[str, Any] = {
        "title": plain_text(title) or "roof",
        "geographicalExtent": [rounded(c, 4) for c in (*low, *high)],
    }
    if grid is not None and grid.epsg is not None and grid.unit_m == 1.0:  # coordinates are metres
        metadata["referenceSystem"] = f"{CRS_ADDRESS}{grid.epsg}"
    return {
        "type": "CityJSON",
        "version": "2.0",
        "transform": {"scale": [STEP_M] * 3, "translate": [rounded(c) for c in roof.frame.origin]},
        "metadata": metadata,
        "CityObjects": {
            BUILDING: {
                "type": "Building",
                "attributes": _building(roof),
                "geometry": [_geometry(roof, body, surfaces)],
            }
        },
        "vertices": places.tolist(),
    }


def _boundary(surface: Surface, row_of: Any) -> list[list[int]]:
    """Rings over the rounded corners, without corners that have become one; none if nothing is left."""
    rings = []
    for ring in surface.rings:
        rows = [int(row_of[row]) for row in ring]
        rows = [row for i, row in enumerate(rows) if row != rows[i - 1]]
        if len(set(rows)) >= 3:
            rings.append(rows)
        elif not rings:
            return []  # the outer ring
    return rings


def _geometry(roof: Roof, body: RoofBody, surfaces: list[tuple[Surface, list[list[int]]]]) -> dict[str, Any]:
    planes = {plane.id: plane for plane in roof.planes}
    meanings: list[dict[str, Any]] = []
    values = []
    shared: dict[str, int] = {}  # walls and ground have one meaning for all
    for surface, _ in surfaces:
        if surface.plane is not None:
            values.append(len(meanings))
            meanings.append({"type": TYPES[surface.kind], **_plane(planes[surface.plane])})
        else:
            if surface.kind not in shared:
                shared[surface.kind] = len(meanings)
                meanings.append({"type": TYPES[surface.kind]})
            values.append(shared[surface.kind])
    boundaries = [rings for _, rings in surfaces]
    closed = body.closed
    return {
        "type": "Solid" if closed else "MultiSurface",
        "lod": "2",
        "boundaries": [boundaries] if closed else boundaries,
        "semantics": {"surfaces": meanings, "values": [values] if closed else values},
    }


def _building(roof: Roof) -> dict[str, Any]:
    lengths = [
        (f"{kind}_length_m", total) for kind, total in sorted(roof.edge_totals.items(), key=lambda k: k[0])
    ]
    return {
        **_measured("roof_area_m2", roof.area),
        **_measured("plan_area_m2", roof.plan_area),
        **{key: value for name, total in lengths for key, value in _measured(name, total).items()},
        "ground_z_m": None if roof.frame.ground_z_m is None else rounded(roof.frame.ground_z_m),
        "walls": WALLS_NOTE,
    }


def _plane(plane: Plane) -> dict[str, Any]:
    return {
        "plane": plain_text(plane.id),
        **_measured("area_m2", plane.area),
        **_measured("plan_area_m2", plane.plan_area),
        **_measured("pitch_deg", plane.pitch_deg),
        **_measured("rise_in_12", plane.rise_in_12),
        **_measured("azimuth_deg", plane.azimuth_deg),
        "observed": rounded(plane.observed),
    }


def _measured(name: str, measured: Measurement) -> dict[str, float]:
    """A value with its standard uncertainty and 95 % bounds, as flat attributes."""
    return {
        name: rounded(measured.value),
        f"{name}_u": rounded(measured.u),
        f"{name}_low": rounded(measured.low),
        f"{name}_high": rounded(measured.high),
    }
