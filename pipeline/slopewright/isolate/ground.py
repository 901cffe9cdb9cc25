"""The ground surface: progressive morphological opening of the lowest points.  Metres.

Opening with growing windows takes off what is narrower than the window and rises above its
surroundings by more than terrain does over that width [1]_.  The terrain's overall slope is taken out
first, so that a steep site is no worse than a level one.

References
----------
.. [1] K. Zhang et al., "A progressive morphological filter for removing nonground measurements from
   airborne LIDAR data," IEEE Trans. Geosci. Remote Sens. 41(4), 872-882, 2003,
   doi:10.1109/TGRS.2003.810682.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from ..scene import Array
from .raster import Grid

BLOCK_M = 1.0  # the filter works on the lowest points of blocks of about this side
WINDOWS_M = (3.0, 6.0, 12.0, 24.0, 40.0)  # sides of the openings; the last exceeds the width of houses
SLOPE = 0.15  # of terrain about its overall plane: what the height threshold allows a metre of window
STEP_BASE_M, STEP_MAX_M = 0.4, 2.0  # least and largest height threshold
TREND_BLOCK_M = 10.0  # the overall plane goes through the lowest points of blocks of this side ...
TREND_BLOCK_TIGHT_M = 3.0  # ... or of this side, where the scene is little more than the house
TREND_MAX = 1.0  # steeper trends are roofs and noise, not sites
COMPANY = 5  # of the 25 blocks around must hold points; others hold strays outside the cloud
PIT_M = 1.5  # up to three blocks of 25 that are deeper than this below the rest hold stray echoes


def ground_surface(low_m: Array, grid: Grid, *, tight: bool = False) -> Array:
    """Height of the ground at every cell's centre [m], also under what stands on it.

    Parameters
    ----------
    low_m : array, shape of the grid
        Lowest point of each cell [m], +inf where empty.
    grid : Grid
    tight : bool
        Take the slope of the site from small blocks: a scene of a few large ones has none.

    Returns
    -------
    array, shape of the grid
        Where the cloud holds no ground this is a smooth surface through its lowest parts; whether it
        is ground must be judged from what stands around the roofs (see `seen.py`).
    """
    factor = max(1, round(BLOCK_M / grid.cell_m))
    blocks = block_min(low_m, factor)
    block_m = factor * grid.cell_m
    known = np.isfinite(blocks)
    around = ndimage.correlate(known.astype(np.uint8), np.ones((5, 5), dtype=np.uint8), mode="constant")
    if (around >= COMPANY).any():
        known &= around >= COMPANY
    lows = _without_pits(np.where(known, blocks, np.inf))
    trend = _trend(lows, block_m, TREND_BLOCK_TIGHT_M if tight else TREND_BLOCK_M)
    filled = _nearest(np.where(known, lows - trend, np.nan))

    is_ground = known.copy()
    opened, before_m = filled, 0.0
    for window_m in WINDOWS_M:
        size = 2 * max(1, round(window_m / block_m / 2)) + 1
        if size > 2 * max(blocks.shape) + 1:
            break
        smaller = opened
        opened = ndimage.grey_opening(smaller, size=(size, size), mode="nearest")
        step_m = min(STEP_BASE_M + SLOPE * (window_m - before_m), STEP_MAX_M)
        is_ground &= smaller - opened <= step_m
        before_m = window_m
    surface = _fill_smoothly(np.where(is_ground, filled, np.nan)) + trend
    return _to_cells(surface, factor, low_m.shape)


def block_min(values: Array, factor: int) -> Array:
    """Least value in blocks of factor x factor cells, +inf where all are."""
    rows, columns = (-(-size // factor) for size in values.shape)
    padded = np.full((rows * factor, columns * factor), np.inf)
    padded[: values.shape[0], : values.shape[1]] = values
    least: Array = padded.reshape(rows, factor, columns, factor).min(axis=(1, 3))
    return least


def _trend(blocks: Array, block_m: float, side_m: float) -> Array:
    """Plane through the low parts of the scene, at every block; level where there is too little to fit."""
    factor = max(1, round(side_m / block_m))
    lows = block_min(blocks, factor)
    row, column = np.nonzero(np.isfinite(lows))
    z = lows[row, column]
    if len(z) < 6:
        return np.zeros(blocks.shape)
    # The block's lowest point is anywhere in it; its middle serves.
    x, y = (column + 0.5) * factor, (row + 0.5) * factor
    design = np.stack([x, y, np.ones(len(x))], axis=-1)
    weight = np.ones(len(z))
    plane = np.zeros(3)
    for _ in range(20):
        # Blocks full of roof lie above: they count less and less (after Kraus and Pfeifer 1998).
        plane[:] = np.linalg.lstsq(design * weight[:, None], z * weight, rcond=None)[0]
        above = z - design @ plane
        scale = max(0.3, 1.5 * float(np.median(np.abs(above))))
        weight[:] = np.where(above > 0, 1 / (1 + (above / scale) ** 2), 1.0)
    slope = float(np.hypot(plane[0], plane[1])) / block_m
    if slope > TREND_MAX:
        return np.zeros(blocks.shape)
    rows, columns = np.indices(blocks.shape) + 0.5
    trend: Array = plane[0] * columns + plane[1] * rows
    return trend


def _without_pits(lows: Array) -> Array:
    """Stray low blocks raised to the fourth lowest around; twice, for those that had hidden each other."""
    for _ in range(2):
        fourth = ndimage.rank_filter(lows, rank=3, size=5, mode="constant", cval=np.inf)
        pit = (lows < fourth - PIT_M) & np.isfinite(fourth)
        lows = np.where(pit, fourth, lows)
    return lows


def _nearest(values: Array) -> Array:
    """Values with each NaN replaced by the nearest value."""
    unknown = np.isnan(values)
    if not unknown.any():
        return values
    row, column = ndimage.distance_transform_edt(unknown, return_distances=False, return_indices=True)
    filled: Array = values[row, column]
    return filled


def _fill_smoothly(values: Array) -> Array:
    """NaN filled from averages over ever larger neighbourhoods, coarse first (push and pull)."""
    known = ~np.isnan(values)
    if known.all() or not known.any():
        return np.nan_to_num(values)
    if min(values.shape) <= 2:
        return _nearest(values)
    rows, columns = ((size + 1) // 2 for size in values.shape)
    padded = np.full((rows * 2, columns * 2), np.nan)
    padded[: values.shape[0], : values.shape[1]] = values
    quads = padded.reshape(rows, 2, columns, 2)
    count = np.sum(~np.isnan(quads), axis=(1, 3))
    with np.errstate(invalid="ignore", divide="ignore"):
        coarse = _fill_smoothly(np.nansum(quads, axis=(1, 3)) / count)
    row, column = (
        np.clip((np.arange(size) - 0.5) / 2, 0, limit - 1)
        for size, limit in zip(values.shape, (rows, columns), strict=True)
    )
    pulled = ndimage.map_coordinates(coarse, np.meshgrid(row, column, indexing="ij"), order=1, mode="nearest")
    filled: Array = np.where(known, values, pulled)
    return filled


def _to_cells(blocks: Array, factor: int, shape: tuple[int, ...]) -> Array:
    """Block values at the centres of the cells, linear between the centres of the blocks."""
    row, column = ((np.arange(size) + 0.5) / factor - 0.5 for size in shape)
    cells: Array = ndimage.map_coordinates(
        blocks, np.meshgrid(row, column, indexing="ij"), order=1, mode="nearest"
    )
    return cells
