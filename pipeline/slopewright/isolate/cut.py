"""Cut one building's points, and what lies around it, out of the cloud.  Metres.

Each building is cut in its own window of the grid, so that many take no longer than their cells.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from ..scene import Array, Cloud, Labels, RoofPoints
from .config import IsolateConfig
from .outline import ring
from .raster import CellIndex, Grid, Mask, Window

GROUND_BAND_M = 0.3  # points so near the ground surface are ground
EAVE_DEPTH_M = 0.3  # points so far below a roof cell belong to its edge


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Site:
    """What the cutting of every building needs."""

    cloud: Cloud
    by_cell: PointsByCell
    grid: Grid
    zones: Labels  # cells within the margin of a building carry its number, the nearest's
    labels: Labels  # the building's own cells
    windows: dict[int, Window]  # bounding box of each building's own cells
    ground_m: Array | None  # height of the ground at each cell
    ground: Mask | None  # cells in which it is seen
    roof_m: Array  # height of the roof at each of its flat cells, NaN elsewhere
    foreign: npt.NDArray[np.bool_] | None  # (n,) points classified as something else, and not on a roof


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointsByCell:
    """The points of each cell, without searching all of them."""

    cell: CellIndex  # (n,) cell of each point, -1 for points left out
    order: npt.NDArray[np.intp]  # rows of the cloud, cell by cell
    starts: npt.NDArray[np.intp]  # (cells + 1,) where each cell's begin in `order`

    @classmethod
    def of(cls, cell: CellIndex, grid: Grid) -> PointsByCell:
        """Sort points by their cell."""
        count = np.bincount(cell + 1, minlength=grid.n_cells + 1)
        return cls(cell=cell, order=np.argsort(cell, kind="stable"), starts=np.cumsum(count))

    def within(self, window: Window, grid: Grid) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
        """Rows of the cloud, in its order, whose points lie in a window; and their cells in the window."""
        first = np.arange(window[0].start, window[0].stop) * grid.shape[1]
        begin, end = self.starts[first + window[1].start], self.starts[first + window[1].stop]
        parts = [self.order[i:j] for i, j in zip(begin, end, strict=True)]
        rows = np.sort(np.concatenate(parts))
        row, column = np.divmod(self.cell[rows].astype(np.intp), grid.shape[1])
        width = window[1].stop - window[1].start
        return rows, (row - window[0].start) * width + column - window[1].start


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
    xyz = site.cloud.xyz
    window = _window(site, number, polygon, config)
    grid = site.grid.part(window)
    zones = site.zones[window]
    own, zone = site.labels[window] == number, zones == number
    if given:
        zone |= (zones == 0) & _raster(polygon.buffer(config.margin_m), grid)
    floor_m, ground_z_m = _floor(site, window, own, zone, config)

    near = zone | _raster(polygon.buffer(config.context_m), grid)
    rows, at = site.by_cell.within(window, site.grid)
    rows, at = rows[near.ravel()[at]], at[near.ravel()[at]]
    high = xyz[rows, 2] >= floor_m.ravel()[at]
    kept = rows[high & zone.ravel()[at]]
    if given:
        kept = kept[shapely.intersects_xy(polygon.buffer(config.margin_m), *xyz[kept, :2].T)]
    if site.foreign is not None:
        kept = kept[~site.foreign[kept]]

    others = (zones != number) & (zones > 0)
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


def _window(site: Site, number: int, polygon: shapely.Polygon, config: IsolateConfig) -> Window:
    """The part of the grid that holds a building, its outline and all that is looked at around them."""
    grid, own = site.grid, site.windows[number]
    west, south, east, north = polygon.bounds
    reach = ceil(max(2 * config.context_m, config.margin_m) / grid.cell_m) + 2

    def span(low_m: float, high_m: float, start_m: float, cells: slice, most: int) -> slice:
        low = min(int((low_m - start_m) / grid.cell_m), cells.start) - reach
        high = max(int((high_m - start_m) / grid.cell_m) + 1, cells.stop) + reach
        return slice(min(max(low, 0), most), max(min(high, most), 0))

    return (
        span(south, north, grid.y_m, own[0], grid.shape[0]),
        span(west, east, grid.x_m, own[1], grid.shape[1]),
    )


def _floor(
    site: Site, window: Window, own: Mask, zone: Mask, config: IsolateConfig
) -> tuple[Array, float | None]:
    """Height above which points are kept, per cell of a window; and the level of the ground near by."""
    roof_m = site.roof_m[window]
    roof_m = np.where(own & ~np.isnan(roof_m), roof_m, np.inf)
    if site.ground_m is None or site.ground is None:
        return np.full(own.shape, roof_m.min() - config.low_m), None
    ground_m = site.ground_m[window]
    # On the uphill side an eave may hang lower over the ground than what is kept elsewhere.
    eave_m = ndimage.minimum_filter(roof_m, size=3) - EAVE_DEPTH_M
    floor_m = np.maximum(np.minimum(ground_m + config.low_m, eave_m), ground_m + GROUND_BAND_M)
    reach = ndimage.distance_transform_edt(~own) * site.grid.cell_m <= 2 * config.context_m
    near = site.ground[window] & reach & ~zone
    return floor_m, float(np.median(ground_m[near])) if near.any() else None


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
