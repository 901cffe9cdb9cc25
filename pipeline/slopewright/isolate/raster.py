"""The cloud as a grid of plan cells: index, lowest and highest point, sums of the top surface.

Metres.  Sums are taken over whole millimetres, which float64 adds exactly: the order of the points
changes nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..scene import Array
from .config import IsolateConfig

Mask = npt.NDArray[np.bool_]
CellIndex = npt.NDArray[np.int32]
Window = tuple[slice, slice]  # rows and columns of a grid

POINTS_PER_CELL = 1.0  # fewer leave cells empty, more make windows that small faces do not fill
FILLED_LEAST = 0.5  # of the cells; points strewn at random, one a cell, fill 0.63 of them
DENSITY_CELL_M = 2.0  # density is that of the median occupied cell of this size
MAX_CELLS = 6_000_000  # a stray point far away must not eat the memory
TOP_BASE_M = 0.3  # the top surface of a cell reaches this far below its highest point ...
TOP_PER_CELL = 3.0  # ... plus this times the cell's side: a slope of 65 degrees across its diagonal


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Square cells; row 0 is the lowest y, column 0 the lowest x."""

    x_m: float
    y_m: float
    cell_m: float
    shape: tuple[int, int]  # rows, columns

    @property
    def n_cells(self) -> int:
        """Cells in all."""
        return self.shape[0] * self.shape[1]

    def index(self, xyz: Array) -> CellIndex:
        """Flat cell number of each point, shape (n,); -1 outside."""
        column = np.floor((xyz[:, 0] - self.x_m) / self.cell_m).astype(np.int32)
        row = np.floor((xyz[:, 1] - self.y_m) / self.cell_m).astype(np.int32)
        inside = (column >= 0) & (column < self.shape[1]) & (row >= 0) & (row < self.shape[0])
        row *= np.int32(self.shape[1])
        row += column
        row[~inside] = -1
        return row

    def part(self, window: Window) -> Grid:
        """The cells of a window as a grid of their own."""
        rows, columns = window
        return Grid(
            x_m=self.x_m + columns.start * self.cell_m,
            y_m=self.y_m + rows.start * self.cell_m,
            cell_m=self.cell_m,
            shape=(rows.stop - rows.start, columns.stop - columns.start),
        )

    def centre(self, row: npt.NDArray[np.intp], column: npt.NDArray[np.intp]) -> Array:
        """Plan position of cells [m], shape (k, 2)."""
        return np.stack(
            [self.x_m + (column + 0.5) * self.cell_m, self.y_m + (row + 0.5) * self.cell_m], axis=-1
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """Per cell, shape of the grid: extremes of all points and sums of those of the top surface.

    x and y count from the cell's centre, z from the cloud's lowest point; sums in mm and mm².
    """

    low_m: Array  # lowest point, +inf where empty
    top_m: Array  # highest point, -inf where empty
    n: Array  # points of the top surface
    first: Array  # (3, rows, columns) sums of x, y, z
    second: Array  # (6, rows, columns) sums of xx, xy, yy, xz, yz, zz
    base_m: float  # z of the cloud's lowest point

    @property
    def seen(self) -> Mask:
        """Where there are points."""
        return self.n > 0

    @property
    def mean_m(self) -> Array:
        """Mean height of the top surface [m], NaN where empty."""
        with np.errstate(invalid="ignore", divide="ignore"):
            mean: Array = self.base_m + self.first[2] / self.n / 1000
        return mean


def lay_grid(xyz: Array, config: IsolateConfig) -> Grid:
    """Choose a grid for the cloud: cells that hold a point or two, within the configured limits.

    Parameters
    ----------
    xyz : array, shape (n, 3), n >= 1
        Points [m].
    config : IsolateConfig
        Limits of the cell's side.

    Returns
    -------
    Grid
        Covering every point but strays so far off that the grid would be larger than can be held.
    """
    low, high = plan_extent(xyz)
    bulk = np.stack([np.quantile(xyz[:, k], [0.01, 0.99]) for k in (0, 1)], axis=-1)
    width = bulk[1] - bulk[0]
    # Strays: what lies further than the bulk's own width outside the bulk is left out.
    low, high = np.maximum(low, bulk[0] - width - 1), np.minimum(high, bulk[1] + width + 1)
    cell_m = _cell(xyz, low, high, config)
    while np.prod((high - low) / cell_m + 1) > MAX_CELLS:
        cell_m *= 1.25
    columns, rows = (int(k) for k in np.floor((high - low) / cell_m) + 1)
    return Grid(x_m=float(low[0]), y_m=float(low[1]), cell_m=cell_m, shape=(rows, columns))


def plan_extent(xyz: Array) -> tuple[Array, Array]:
    """Least and greatest x and y [m]; column by column, which is far faster than along the rows."""
    low = np.array([xyz[:, k].min() for k in (0, 1)])
    high = np.array([xyz[:, k].max() for k in (0, 1)])
    return low, high


def _cell(xyz: Array, low: Array, high: Array, config: IsolateConfig) -> float:
    columns, rows = (int(k) for k in np.floor((high - low) / DENSITY_CELL_M) + 1)
    if columns * rows > MAX_CELLS:
        return config.cell_max_m
    coarse = Grid(x_m=float(low[0]), y_m=float(low[1]), cell_m=DENSITY_CELL_M, shape=(rows, columns))
    cell = coarse.index(xyz)
    counts = np.bincount(cell[cell >= 0], minlength=coarse.n_cells)
    usual = float(np.median(counts[counts > 0]))
    cell_m = min(
        max(math.sqrt(POINTS_PER_CELL * DENSITY_CELL_M**2 / usual), config.cell_min_m), config.cell_max_m
    )
    well_covered = counts >= usual / 2
    # Scan lines lie closer along than across: the density alone would leave too many cells empty.
    while cell_m < config.cell_max_m and _filled(xyz, low, high, cell_m, coarse, well_covered) < FILLED_LEAST:
        cell_m = min(1.2 * cell_m, config.cell_max_m)
    return cell_m


def _filled(xyz: Array, low: Array, high: Array, cell_m: float, coarse: Grid, well_covered: Mask) -> float:
    """Share of the cells that hold points, within the well covered part of the cloud."""
    columns, rows = (int(k) for k in np.floor((high - low) / cell_m) + 1)
    if columns * rows > MAX_CELLS:
        return 1.0
    grid = Grid(x_m=coarse.x_m, y_m=coarse.y_m, cell_m=cell_m, shape=(rows, columns))
    cell = grid.index(xyz)
    seen = np.zeros(grid.n_cells, dtype=bool)
    seen[cell[cell >= 0]] = True
    row, column = np.divmod(np.flatnonzero(seen), columns)
    block = coarse.index(grid.centre(row, column))
    n_filled = np.count_nonzero(well_covered[block[block >= 0]])
    return float(n_filled * cell_m**2 / (np.count_nonzero(well_covered) * DENSITY_CELL_M**2))


def top_surface(xyz: Array, cell: CellIndex, grid: Grid) -> Surface:
    """Sum up the top surface of every cell: the points just below its highest one.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Points [m].
    cell : array, shape (n,)
        Their cells in the grid, -1 for points to leave out.
    grid : Grid

    Returns
    -------
    Surface
    """
    held = cell >= 0
    if not held.all():
        xyz, cell = xyz[held], cell[held]
    size, z = grid.n_cells, xyz[:, 2]
    low_m, top_m = np.full(size, np.inf), np.full(size, -np.inf)
    np.minimum.at(low_m, cell, z)
    np.maximum.at(top_m, cell, z)
    base_m = float(z.min())

    depth_m = TOP_BASE_M + TOP_PER_CELL * grid.cell_m
    upper = z >= top_m[cell] - depth_m
    cell = cell[upper]
    row, column = np.divmod(cell, np.int32(grid.shape[1]))
    x = np.rint((xyz[upper, 0] - grid.x_m - (column + 0.5) * grid.cell_m) * 1000)
    y = np.rint((xyz[upper, 1] - grid.y_m - (row + 0.5) * grid.cell_m) * 1000)
    del row, column
    height = np.rint((z[upper] - base_m) * 1000)

    def total(weights: Array | None) -> Array:
        return np.bincount(cell, weights, minlength=size).astype(np.float64).reshape(grid.shape)

    return Surface(
        low_m=low_m.reshape(grid.shape),
        top_m=top_m.reshape(grid.shape),
        n=total(None),
        first=np.stack([total(x), total(y), total(height)]),
        second=np.stack(
            [total(x * x), total(x * y), total(y * y), total(x * height), total(y * height), total(height**2)]
        ),
        base_m=base_m,
    )
