"""Cells that are roof, grouped by building.  Metres.

Flat surface well above the ground, grown to its own edges, grouped by touching in plan: height steps do
not separate, gaps do.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ..scene import Array, Labels
from .config import IsolateConfig
from .flat import Flatness
from .raster import CellIndex, Grid, Mask, Surface

EDGE_REACH_M = 2.5  # a plane is followed so far where its points go on under foliage or beside a wall
EDGE_ROUNDS = 3  # so often, each from what the one before has found
EDGE_DENSITY = 0.4  # ... while its slab holds this share of the points that a roof cell has
EDGE_HEIGHT_M = 0.7  # ... and lies so far above the ground
SLAB_NOISES = 4.0  # half thickness of the slab
HOLE_MAX_M2 = 6.0  # holes in which ground is seen are courts if larger, gaps in the scan if smaller
BRIDGE_CELL_M = 0.4  # with cells up to this side, bridges thinner than three cells do not join
ALL = np.ones((3, 3), dtype=bool)


def roof_cells(
    xyz: Array,
    cell: CellIndex,
    grid: Grid,
    surface: Surface,
    broad: Flatness,
    fine: Flatness,
    ground_m: Array | None,
    extra: Mask,
    config: IsolateConfig,
) -> tuple[Mask, Flatness]:
    """Mark the cells whose top surface is roof.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Points [m].
    cell : array, shape (n,)
        Their cells, -1 for none.
    grid, surface, broad, fine
        The raster, its sums and its local planes.
    ground_m : array, shape of the grid, or None
        Height of the ground [m]; None where the cloud holds no ground: all that is flat is then roof.
    extra : array, shape of the grid
        Cells known to be building though not flat.
    config : IsolateConfig

    Returns
    -------
    roof : array of bool, shape of the grid
    flat : Flatness
        The broad one, with the planes of the narrow faces that are roof.
    """
    mask = broad.flat.copy()
    narrow = fine.flat.copy()
    high = surface.seen.copy()
    if ground_m is not None:
        with np.errstate(invalid="ignore"):
            mask &= broad.height_m - ground_m >= config.height_min_m
            narrow &= fine.height_m - ground_m >= config.height_min_m
            high &= surface.top_m - ground_m >= config.height_min_m
    mask |= extra & high
    flat = broad
    if fine is not broad and mask.any():
        beside = ndimage.distance_transform_edt(~mask) * grid.cell_m <= EDGE_REACH_M
        mask = ndimage.binary_propagation(mask, structure=ALL, mask=mask | (narrow & beside))
        flat = broad.completed(fine, mask)
    for _ in range(EDGE_ROUNDS):
        grown = _edge_cells(xyz, cell, grid, surface, flat, ground_m, mask)
        if not grown.any():
            break
        mask = mask | grown
    return _without_gaps(mask, surface.seen, high, grid), flat


def _edge_cells(
    xyz: Array,
    cell: CellIndex,
    grid: Grid,
    surface: Surface,
    flat: Flatness,
    ground_m: Array | None,
    mask: Mask,
) -> Mask:
    """Cells around that hold points of the nearest roof cell's plane, and hang together with it."""
    known = mask & flat.flat
    if not known.any():
        return np.zeros_like(mask)
    distance, (row, column) = ndimage.distance_transform_edt(~known, return_indices=True)
    ring = (distance * grid.cell_m <= EDGE_REACH_M) & ~known & surface.seen
    rows, columns = np.indices(grid.shape)
    east, north = flat.east[row, column], flat.north[row, column]
    height = flat.height_m[row, column] + grid.cell_m * ((columns - column) * east + (rows - row) * north)
    if ground_m is not None:
        ring &= height - ground_m >= EDGE_HEIGHT_M

    tried = np.flatnonzero((cell >= 0) & ring.ravel()[cell])
    at = cell[tried]
    x = xyz[tried, 0] - grid.x_m - (at % grid.shape[1] + 0.5) * grid.cell_m
    y = xyz[tried, 1] - grid.y_m - (at // grid.shape[1] + 0.5) * grid.cell_m
    slab = SLAB_NOISES * flat.noise_m * np.sqrt(1 + east**2 + north**2).ravel()[at] + 0.02
    expected = height.ravel()[at] + x * east.ravel()[at] + y * north.ravel()[at]
    inside = np.abs(xyz[tried, 2] - expected) <= slab
    count = np.bincount(at[inside], minlength=grid.n_cells).reshape(grid.shape)
    usual = float(np.median(surface.n[known]))
    accepted = ring & (count >= max(1.0, EDGE_DENSITY * usual))
    grown: Mask = ndimage.binary_propagation(known, structure=ALL, mask=accepted | known) & ~known
    return grown


def _without_gaps(mask: Mask, seen: Mask, high: Mask, grid: Grid) -> Mask:
    """Fill cells that the scan missed, and narrow seams of things that stand as high."""
    for _ in range(2):
        neighbours = ndimage.correlate(mask.astype(np.uint8), ALL.astype(np.uint8), mode="constant")
        mask = mask | (~seen & (neighbours >= 5))
    if grid.cell_m <= BRIDGE_CELL_M:
        closed = ndimage.binary_closing(np.pad(mask, 2), ALL)[2:-2, 2:-2]
        mask = mask | (closed & (high | ~seen))
    return mask


def group(mask: Mask, ground_cells: Mask | None, grid: Grid) -> Labels:
    """Number the buildings: sets of roof cells that touch, things enclosed by them included.

    Parameters
    ----------
    mask : array of bool, shape of the grid
        Roof cells.
    ground_cells : array of bool, shape of the grid, or None
        Cells in which the ground is seen from above.
    grid : Grid

    Returns
    -------
    array of int32, shape of the grid
        0 for none, 1, 2, ... for buildings.
    """
    core = mask
    if grid.cell_m <= BRIDGE_CELL_M:
        core = ndimage.binary_opening(mask, ALL)
    labels, _ = ndimage.label(core, structure=ALL)
    if core is not mask:
        distance, (row, column) = ndimage.distance_transform_edt(~core, return_indices=True)
        labels = np.where(mask & (distance <= 3), labels[row, column], 0) if core.any() else labels
    filled = np.zeros(grid.shape, dtype=np.int32)
    for number, window in enumerate(ndimage.find_objects(labels), start=1):
        if window is None:
            continue
        own = labels[window] == number
        whole = ndimage.binary_fill_holes(own)
        holes, n_holes = ndimage.label(whole & ~own)
        for k in range(1, n_holes + 1):
            hole = holes == k
            if ground_cells is None:
                continue
            if (hole & ground_cells[window]).sum() * grid.cell_m**2 > HOLE_MAX_M2:
                whole &= ~hole
        filled[window] = np.where(whole & (filled[window] == 0), number, filled[window])
    return filled


def cells_of_each(
    labels: Labels,
) -> Iterator[tuple[int, npt.NDArray[np.intp], npt.NDArray[np.intp]]]:
    """Number, rows and columns of each building's cells."""
    for number, window in enumerate(ndimage.find_objects(labels), start=1):
        if window is not None:
            row, column = np.nonzero(labels[window] == number)
            yield number, row + window[0].start, column + window[1].start
