"""Cut one building's points, and what lies around it, out of the cloud.  Metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from ..scene import Array, Cloud, Labels, RoofPoints
from .config import IsolateConfig
from .outline import ring
from .raster import CellIndex, Grid, Mask

Indices = npt.NDArray[np.int64]

GROUND_BAND_M = 0.3  # points so near the ground surface are ground


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
    roof_low_m: Array  # per cell: lowest height of roof there, NaN where none
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

    rows = np.flatnonzero((site.cell >= 0) & zone.ravel()[site.cell])
    high = xyz[rows, 2] >= floor_m.ravel()[site.cell[rows]]
    kept = rows[high]
    if given:
        kept = kept[shapely.intersects_xy(polygon.buffer(config.margin_m), *xyz[kept, :2].T)]
    if site.foreign is not None:
        kept = kept[~site.foreign[kept]]

    near = _raster(polygon.buffer(config.context_m), grid) | zone
    rows = np.flatnonzero((site.cell >= 0) & near.ravel()[site.cell])
    low = xyz[rows, 2] < floor_m.ravel()[site.cell[rows]]
    others = (site.zones != number) & (site.zones > 0)
    context = rows[low & ~others.ravel()[site.cell[rows]]]
    return RoofPoints(
        id=name,
        xyz=xyz[kept],
        indices=kept.astype(np.int64),
        context=_thinned(xyz[context], config.context_per_m2),
        footprint=ring(polygon),
        area_m2=float(polygon.area),
        ground_z_m=ground_z_m,
    )


def _floor(site: Site, own: Mask, zone: Mask, config: IsolateConfig) -> tuple[Array, float | None]:
    """Height above which points are kept, per cell; and the level of the ground near by."""
    lowest_m = float(np.nanmin(site.roof_low_m[own], initial=np.inf))
    without_ground = np.full(site.grid.shape, lowest_m - config.low_m)
    if site.ground_m is None or site.ground is None:
        return without_ground, None
    reach = ndimage.distance_transform_edt(~own) * site.grid.cell_m <= 2 * config.context_m
    near = site.ground & reach & ~zone
    if not near.any():
        return site.ground_m + config.low_m, None
    return site.ground_m + config.low_m, float(np.median(site.ground_m[near]))


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
    cube = np.floor(points / side_m).astype(np.int64)
    order = np.lexsort((points[:, 1], points[:, 0], points[:, 2], cube[:, 2], cube[:, 1], cube[:, 0]))
    cube = cube[order]
    first = np.r_[True, np.any(np.diff(cube, axis=0) != 0, axis=1)]
    thinned: Array = points[order[first]]
    return thinned
