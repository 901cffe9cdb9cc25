"""Points that are not what they seem: the same point again, and echoes from below the ground.  Metres."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ..scene import Array
from .raster import CellIndex, Grid

SAME_M = 0.004  # points of one cube of this side, in one of eight layings of the cubes, are the same point
SAMPLED = 31  # every so manieth cell is looked at ...
REPEATED_SHARE = 0.2  # ... and all, if there so many points are repetitions: scans have hardly any
BLOCK_POINTS = 40  # of a block in which points must keep company
SLICE_M = 0.25  # height of the slices of a block
AROUND_M = 2.5  # so far around a wall its foot is seen on the ground
MOST_SLICES = 1 << 24  # of a block: 4000 km
SURFACE_SHARE = 0.15  # of the block's points lie in each slice of a surface; echoes have 0.05 in all slices


def repeated(xyz: Array, cell: CellIndex) -> npt.NDArray[np.bool_] | None:
    """Points that repeat another one, shape (n,); None if the cloud has no more of them than others.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Points [m].
    cell : array, shape (n,)
        Their cells.

    Notes
    -----
    Of each set the first in the order of x, y and z is kept: the points' order must not tell.
    """
    sample = xyz[(cell >= 0) & (cell % SAMPLED == 0)]
    if len(sample) < 50 or _repeats(sample).mean() < REPEATED_SHARE:
        return None
    return _repeats(xyz)


def _repeats(xyz: Array) -> npt.NDArray[np.bool_]:
    order = np.lexsort((xyz[:, 2], xyz[:, 1], xyz[:, 0]))
    kept = order
    scaled = (xyz - xyz.min(axis=0)) / SAME_M
    for shift in product((0.0, 0.5), repeat=3):
        cube = np.floor(scaled[kept] + shift).astype(np.int64)
        size = cube.max(axis=0) + 1
        _, first = np.unique((cube[:, 0] * size[1] + cube[:, 1]) * size[2] + cube[:, 2], return_index=True)
        kept = kept[np.sort(first)]
    repeats = np.ones(len(xyz), dtype=bool)
    repeats[kept] = False
    return repeats


def lowest_in_company(xyz: Array, cell: CellIndex, grid: Grid) -> Array:
    """Lowest height of each cell that is more than an echo's, +inf where there is none [m].

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Points [m].
    cell : array, shape (n,)
        Their cells, -1 for points left out.
    grid : Grid

    Returns
    -------
    array, shape of the grid

    Notes
    -----
    Blocks of cells are cut into slices.  Surfaces fill their slices; echoes from below are strewn over
    many, a few of the block's points each, and lie lower than any surface near by.
    """
    if (cell < 0).any():
        xyz, cell = xyz[cell >= 0], cell[cell >= 0]
    z = xyz[:, 2]
    n_filled = int(np.count_nonzero(np.bincount(cell, minlength=grid.n_cells)))
    usual = len(z) / max(n_filled, 1)
    side = max(1, math.ceil(math.sqrt(BLOCK_POINTS / usual)))
    rows, columns = (-(-size // side) for size in grid.shape)
    key = (cell // np.int32(grid.shape[1]) // side).astype(np.int64)
    key *= columns
    key += cell % np.int32(grid.shape[1]) // side
    key *= MOST_SLICES
    key += ((z - z.min()) / SLICE_M).astype(np.int64)
    slices, count = np.unique(key, return_counts=True)
    in_block = np.bincount(slices // MOST_SLICES, weights=count, minlength=rows * columns)
    is_surface = count >= SURFACE_SHARE * in_block[slices // MOST_SLICES]

    surface_m = np.full(grid.n_cells, np.inf)
    low_m = np.full(grid.n_cells, np.inf)
    for part in _parts(len(z)):
        company = is_surface[np.searchsorted(slices, key[part])]
        np.minimum.at(surface_m, cell[part][company], z[part][company])
    reach = 2 * round(AROUND_M / grid.cell_m) + 1
    floor_m = ndimage.minimum_filter(surface_m.reshape(grid.shape), reach, mode="nearest").ravel()
    floor_m[np.isinf(floor_m)] = -np.inf  # too steep or too few to tell
    for part in _parts(len(z)):
        # what stands on a surface near by is there, however few its points
        seen = z[part] >= floor_m[cell[part]] - SLICE_M / 2
        np.minimum.at(low_m, cell[part][seen], z[part][seen])
    return low_m.reshape(grid.shape)


def _parts(n: int) -> Iterator[slice]:
    """Slices of so many rows at a time that what is made of them takes little memory."""
    for start in range(0, n, 1 << 18):
        yield slice(start, start + (1 << 18))
