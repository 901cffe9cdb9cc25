"""How much of a face or an edge the points show.  Metres."""

from __future__ import annotations

import numpy as np
import shapely

from ..scene import Array


def face_support(points: Array, polygon: shapely.Polygon, spacing_m: float) -> float:
    """Share of a face's plan whose cells hold a point of its plane, 0..1.

    Parameters
    ----------
    points : array, shape (n, 2)
        Points of the plane [m].
    """
    cell = max(0.5, 2.5 * spacing_m)
    corner = np.array(polygon.bounds[:2])
    size = np.maximum(np.ceil((np.array(polygon.bounds[2:]) - corner) / cell).astype(int), 1)
    grid_x, grid_y = np.meshgrid(np.arange(size[0]), np.arange(size[1]), indexing="ij")
    middle = corner + cell * (np.stack([grid_x.ravel(), grid_y.ravel()], axis=1) + 0.5)
    inside = shapely.contains_xy(polygon, middle[:, 0], middle[:, 1])
    at = np.floor((points - corner) / cell).astype(np.int64)
    at = at[((at >= 0) & (at < size)).all(axis=1)]
    filled = np.zeros(len(middle), dtype=bool)
    filled[at[:, 0] * size[1] + at[:, 1]] = True
    if not inside.any():
        return float(filled.any())
    return float(filled[inside].mean())


def edge_support(points: Array, start: Array, end: Array, inward: Array, spacing_m: float) -> float:
    """Share of an edge beside which points of the face were seen, 0..1.

    Parameters
    ----------
    points : array, shape (n, 2)
        Points of the face's plane [m].
    start, end : array, shape (2,)
    inward : array, shape (2,)
        Unit vector from the edge into the face.
    """
    length = float(np.hypot(*(end - start)))
    along = np.array([-inward[1], inward[0]])
    if float(along @ (end - start)) < 0:
        along = -along
    n_chunks = max(round(length / max(0.5, 2 * spacing_m)), 1)
    depth = max(0.5, 2 * spacing_m)
    offset = points - start
    t, s = offset @ inward, offset @ along
    near = (t > -depth / 2) & (t < depth) & (s >= 0) & (s < length)
    chunk = np.minimum((s[near] / length * n_chunks).astype(np.int64), n_chunks - 1)
    return float(len(np.unique(chunk)) / n_chunks)
