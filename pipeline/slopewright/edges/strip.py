"""What one face shows along one boundary: its points in chunks of the edge, and their density.  Metres."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from ..scene import Array

MAX_DEPTH_M = 2.0  # how far inside the edge points still tell the density
MIN_DEPTH_M = 0.4
LEAST_COUNT_SHARE = 0.45  # of the expected points near the edge; below it a chunk is hidden (tree, hole)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """What one face shows along one boundary: chunks of the edge and the points by them.

    `t` counts outward from the line, `s` along it.
    """

    point_t: Array
    point_s: Array
    straddles: npt.NDArray[np.bool_]  # of each point: its pulse has a return from something below, too
    chunk_s: Array  # middles of the chunks in use
    chunk_depth: Array  # how far inward each looks
    width_m: float  # of a chunk
    density: float  # points per m² of plan inside the face
    n_chunks: int  # of the whole edge, hidden ones too

    def without_straddling(self) -> Strip:
        """The same strip as single returns show it."""
        single = ~self.straddles
        return replace(
            self,
            point_t=self.point_t[single],
            point_s=self.point_s[single],
            straddles=self.straddles[single],
        )


def strip_along(
    points: Array,
    straddles: npt.NDArray[np.bool_],
    polygon: shapely.Polygon,
    line: tuple[Array, float],
    span: tuple[float, float],
    *,
    density: float,
    spacing_m: float,
) -> Strip:
    """Cut the points of one face along one boundary into chunks.

    Parameters
    ----------
    points : array, shape (n, 2)
        Points of the face's plane, also those beyond the line [m].
    straddles : array of bool, shape (n,)
        Points whose pulse has a return from something below, too.
    polygon : shapely.Polygon
        The face in plan.
    line : (normal, offset)
        The normal points out of the face.
    span : (float, float)
        Stations along (-n_y, n_x) between which the face ends on the line [m].
    density : float
        Points per m² of plan inside the face.
    """
    normal, offset = line
    direction = np.array([-normal[1], normal[0]])
    width = max(0.5, 2 * spacing_m)
    back = max(0.25, 0.75 * spacing_m)  # keep clear of what happens round the corners
    low, high = span[0] + back, span[1] - back
    n_chunks = max(int((high - low) / width), 1 if high - low > 0.4 * width else 0)
    if n_chunks == 0:
        empty = np.empty(0)
        return Strip(
            point_t=empty,
            point_s=empty,
            straddles=np.empty(0, dtype=bool),
            chunk_s=empty,
            chunk_depth=empty,
            width_m=width,
            density=density,
            n_chunks=0,
        )
    width = (high - low) / n_chunks
    middle = low + (np.arange(n_chunks) + 0.5) * width
    reach = float(np.clip(12 * spacing_m, 0.6, MAX_DEPTH_M))
    rays = middle[:, None] + width * np.array([-0.5, 0.0, 0.5])
    depth = _depths(polygon, normal, offset, direction, rays.ravel(), reach)
    depth = depth.reshape(rays.shape).min(axis=1)

    beyond = max(0.5, 2 * spacing_m)
    t, s = points @ normal - offset, points @ direction
    chunk = np.floor((s - low) / width).astype(np.int64)
    inside = (chunk >= 0) & (chunk < n_chunks) & (t < beyond)
    t, s, chunk = t[inside], s[inside], chunk[inside]
    near = np.minimum(depth, 1.0)
    count = np.bincount(chunk[t > -near[chunk]], minlength=n_chunks)
    deep = depth >= max(MIN_DEPTH_M, 1.2 * spacing_m)
    seen = deep & (count >= LEAST_COUNT_SHARE * density * width * near)
    use = seen[chunk] & (t > -depth[chunk])
    order = np.lexsort((s[use], t[use]))
    return Strip(
        point_t=t[use][order],
        point_s=s[use][order],
        straddles=straddles[inside][use][order],
        chunk_s=middle[seen],
        chunk_depth=depth[seen],
        width_m=width,
        density=density,
        n_chunks=int(deep.sum()),
    )


def _depths(
    polygon: shapely.Polygon, normal: Array, offset: float, direction: Array, stations: Array, reach: float
) -> Array:
    """How far inward from the line the polygon goes on, at each station, at most `reach` [m]."""
    start, skin = 0.1, 0.3
    base = normal * offset + stations[:, None] * direction
    rays = shapely.linestrings(np.stack([base - start * normal, base - reach * normal], axis=1))
    parts = shapely.intersection(rays, polygon)
    depths = np.zeros(len(stations))
    for n, geometry in enumerate(parts):
        for part in shapely.get_parts(geometry):
            t = shapely.get_coordinates(part) @ normal - offset
            if len(t) and t.max() > -skin:
                depths[n] = max(depths[n], -float(t.min()))
    return np.maximum(depths - 0.05, 0.0)


def interior_density(points: Array, polygon: shapely.Polygon, spacing_m: float) -> float | None:
    """Points per m² of plan well inside a face, None where it is too small to tell.

    Notes
    -----
    Taken over cells of the face that are not far emptier than the median, so that a hole or a tree does not
    lower it; cells hold some 12 points.
    """
    cell = max(0.5, 3.5 * spacing_m)
    inner = polygon.buffer(-max(0.2, 0.7 * spacing_m))
    if inner.area < 2 * cell**2:
        return None
    shapely.prepare(inner)
    inside = shapely.contains_xy(inner, points[:, 0], points[:, 1])
    corner = np.array(inner.bounds[:2])
    size = np.ceil((np.array(inner.bounds[2:]) - corner) / cell).astype(int)
    grid_x, grid_y = np.meshgrid(np.arange(size[0]), np.arange(size[1]), indexing="ij")
    low = corner + cell * np.stack([grid_x.ravel(), grid_y.ravel()], axis=1)
    squares = shapely.box(low[:, 0], low[:, 1], low[:, 0] + cell, low[:, 1] + cell)
    area = shapely.area(shapely.intersection(squares, inner))
    at: npt.NDArray[np.int64] = np.floor((points[inside] - corner) / cell).astype(np.int64)
    at = np.minimum(at, size - 1)
    count = np.bincount(at[:, 0] * size[1] + at[:, 1], minlength=size[0] * size[1])
    whole = area > 0.7 * cell**2
    if whole.sum() < 3:
        return float(inside.sum() / inner.area) if inside.sum() else None
    density = count[whole] / area[whole]
    filled = density > 0.3 * np.median(density)
    return float(count[whole][filled].sum() / area[whole][filled].sum()) if filled.any() else None
