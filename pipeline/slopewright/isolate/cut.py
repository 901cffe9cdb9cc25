"""Cut one building's points, and what lies around it, out of the cloud.  Metres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from ..scene import Array, Cloud, Labels, RoofPoints
from .config import IsolateConfig
from .outline import ring
from .raster import CellIndex, Grid, Mask

GROUND_BAND_M = 0.3  # points so near the ground surface are ground
EAVE_DEPTH_M = 0.3  # points so far below a roof cell belong to its edge


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Site:
    """What the cutting of every building needs."""

    cloud: Cloud
    cell: CellIndex  # (n,) cell of each point, -1 for points left out
    grid: Grid
    zones: Labels  # cells within the margin of a building carry its number, the nearest's
    labels: Labels  # the building's own cells
    ground_m: Array | None  # height of the ground at each cell
    ground: Mask | None  # cells in which it is seen
    roof_m: Array  # height of the roof at each of its flat cells, NaN elsewhere
    foreign: npt.NDArray[np.bool_] | None  # (n,) points classified as something else, and not on a roof


def zones_around(labels: Labels, grid: Grid, margin_m: float) -> Labels:
    """Give each cell within the margin of a building the number of the nearest one."""
    if not (labels > 0).any():
        return labels
    distance, (row, column) = ndimage.distance_transform_edt(labels == 0, return_indices=True)
    zones: Labels = np.where(distance * grid.cell_m <= margin_m, labels[row, column], 0).astype(np.int32)
    return zones


def cut(
    site: Site, number: int, name: str, polygon: shapely.Polygon, config: IsolateConfig, *, given: bool
) -> RoofPoints:
    """Collect the points of one building.

    Parameters
    ----------
    site : Site
    number : int
        The building's number in `labels` and `zones`.
    name : str
        Its id, "r1", ...
    polygon : shapely.Polygon
        Its outline [m].
    config : IsolateConfig
    given : bool
        The outline was given: it outranks our own cells.

    Returns
    -------
    RoofPoints
        `xyz` in the order of the cloud.
    """
    grid, xyz = site.grid, site.cloud.xyz
    own = site.labels == number
    zone = site.zones == number
    if given:
        zone |= (site.zones == 0) & _raster(polygon.buffer(config.margin_m), grid)
    floor_m, ground_z_m = _floor(site, own, zone, config)

    near = zone | _raster(polygon.buffer(config.context_m), grid)
    # One cell more, False, is what the index -1 of points left out refers to.
    rows = np.flatnonzero(np.append(near.ravel(), False)[site.cell])
    at = site.cell[rows]
    high = xyz[rows, 2] >= floor_m.ravel()[at]
    kept = rows[high & zone.ravel()[at]]
    if given:
        kept = kept[shapely.intersects_xy(polygon.buffer(config.margin_m), *xyz[kept, :2].T)]
    if site.foreign is not None:
        kept = kept[~site.foreign[kept]]

    others = (site.zones != number) & (site.zones > 0)
    context = rows[~high & ~others.ravel()[at]]
    return RoofPoints(
        id=name,
        xyz=xyz[kept],
        indices=kept.astype(np.int64),
        context=_thinned(xyz[context], config.context_per_m2),
        footprint=ring(polygon),
        area_m2=float(polygon.area),
        ground_z_m=ground_z_m,
        n_returns=_rows(site.cloud.n_returns, kept),
        return_number=_rows(site.cloud.return_number, kept),
        strip=_rows(site.cloud.strip, kept),
    )


def _rows(values: npt.NDArray[Any] | None, rows: npt.NDArray[np.intp]) -> npt.NDArray[Any] | None:
    return None if values is None else values[rows]


def _floor(site: Site, own: Mask, zone: Mask, config: IsolateConfig) -> tuple[Array, float | None]:
    """Height above which points are kept, per cell; and the level of the ground near by."""
    roof_m = np.where(own & ~np.isnan(site.roof_m), site.roof_m, np.inf)
    if site.ground_m is None or site.ground is None:
        return np.full(site.grid.shape, roof_m.min() - config.low_m), None
    # On the uphill side an eave may hang lower over the ground than what is kept elsewhere.
    eave_m = ndimage.minimum_filter(roof_m, size=3) - EAVE_DEPTH_M
    floor_m = np.maximum(np.minimum(site.ground_m + config.low_m, eave_m), site.ground_m + GROUND_BAND_M)
    reach = ndimage.distance_transform_edt(~own) * site.grid.cell_m <= 2 * config.context_m
    near = site.ground & reach & ~zone
    return floor_m, float(np.median(site.ground_m[near])) if near.any() else None


def _raster(polygon: shapely.Polygon, grid: Grid) -> Mask:
    """Cells whose centres lie in the polygon."""
    inside = np.zeros(grid.shape, dtype=bool)
    west, south, east, north = polygon.bounds
    left, bottom = int((west - grid.x_m) / grid.cell_m) - 1, int((south - grid.y_m) / grid.cell_m) - 1
    right, top = int((east - grid.x_m) / grid.cell_m) + 2, int((north - grid.y_m) / grid.cell_m) + 2
    rows = np.arange(max(bottom, 0), min(top, grid.shape[0]))
    columns = np.arange(max(left, 0), min(right, grid.shape[1]))
    if len(rows) and len(columns):
        row, column = np.meshgrid(rows, columns, indexing="ij")
        x, y = grid.centre(row.ravel(), column.ravel()).T
        inside[row, column] = shapely.contains_xy(polygon, x, y).reshape(row.shape)
    return inside


def _thinned(points: Array, per_m2: float) -> Array:
    """One point, the lowest, of each cube whose face holds 1 / per_m2."""
    if len(points) == 0:
        return points
    side_m = per_m2**-0.5
    step = np.floor(points / side_m).astype(np.int64)
    step -= step.min(axis=0)
    size = step.max(axis=0) + 1
    _, cube = np.unique((step[:, 0] * size[1] + step[:, 1]) * size[2] + step[:, 2], return_inverse=True)
    lowest = np.full(int(cube.max()) + 1, np.inf)
    np.minimum.at(lowest, cube, points[:, 2])
    # Of several equally low points the one with the least x, then y: the points' order must not tell.
    tied = np.flatnonzero(points[:, 2] == lowest[cube])
    tied = tied[np.lexsort((points[tied, 1], points[tied, 0], cube[tied]))]
    thinned: Array = points[tied[np.r_[True, np.diff(cube[tied]) != 0]]]
    return thinned
