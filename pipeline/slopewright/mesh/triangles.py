"""Triangles of each plane, cut in the plane's own frame, on the corners that the roof's planes share."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from ..errors import DegenerateGeometryError
from ..geometry.planeframe import plane_frame
from ..roof import MeshNode, Plane, Roof, RoofMesh
from ..scene import Array
from .body import roof_body

FOLD_SHARE = 1e-4  # of a plane's area: by so much an outline may cross itself, as slivers do after adjustment


def run(roof: Roof) -> RoofMesh:
    """Triangulate every plane of a roof.

    Parameters
    ----------
    roof : Roof
        Measured.  Creases share their corners, so the mesh closes along them without any welding.

    Returns
    -------
    RoofMesh
        One node a plane, in the order of `roof.planes`; every corner of a plane is a corner of its triangles.
        The vertices are those of the roof, and after them one for each point where an outline crosses itself.

    Raises
    ------
    DegenerateGeometryError
        If the outline or a hole of a plane crosses itself or another by more than `FOLD_SHARE`, or encloses
        no area.
    """
    crossings: list[Array] = []
    nodes = tuple(
        MeshNode(plane=plane.id, triangles=_triangles(roof, plane, crossings)) for plane in roof.planes
    )
    return RoofMesh(vertices=np.vstack([roof.vertices, *crossings]), nodes=nodes, body=roof_body(roof))


def _triangles(roof: Roof, plane: Plane, crossings: list[Array]) -> npt.NDArray[np.int64]:
    """Triangles as rows of the mesh's vertices; points where the outline crosses itself join `crossings`."""
    rows = [row for loop in plane.loops for row in loop]
    origin, frame = roof.vertices[rows[0]], plane_frame(plane.normal)
    flat = (roof.vertices - origin) @ frame.T
    rings = [flat[list(loop)] for loop in plane.loops]
    enclosed = _ring_area(rings[0]) - sum(_ring_area(ring) for ring in rings[1:])
    row_at = {tuple(flat[row]): row for row in rows}

    # Ear clipping was tried and drops corners that lie on the line between others, so that creases gape.
    outline = shapely.make_valid(shapely.Polygon(rings[0], rings[1:]))  # a ring may touch itself at a corner
    cut = shapely.get_coordinates(shapely.get_parts(shapely.constrained_delaunay_triangles(outline)))
    corners = cut.reshape(-1, 4, 2)[:, :3]  # a triangle's ring repeats its start
    signed = _signed_areas(corners)
    covered = float(np.abs(signed).sum())
    if not enclosed > 0 or abs(covered - enclosed) > FOLD_SHARE * enclosed:
        raise DegenerateGeometryError(
            f"plane {plane.id}: outline encloses {enclosed:.4f} m², its triangles cover {covered:.4f} m²,"
            " need an outline and holes that do not cross"
        )
    for corner in map(tuple, corners.reshape(-1, 2)):
        if corner not in row_at:
            row_at[corner] = len(roof.vertices) + len(crossings)
            crossings.append(origin + np.array(corner) @ frame)
    corners[signed < 0] = corners[signed < 0][:, ::-1]
    triangles = [[row_at[tuple(corner)] for corner in triangle] for triangle in corners]
    return np.array(triangles, dtype=np.int64)


def _signed_areas(triangles: Array) -> Array:
    """Areas of triangles, shape (t, 3, 2), positive when counter-clockwise."""
    a, b = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    return np.asarray((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2)


def _ring_area(ring: Array) -> float:
    """Area that an open ring, shape (k, 2), encloses, whatever its sense."""
    x, y = (ring - ring[0]).T
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
