"""The outline of a building in plan, from its cells.  Metres."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.polygon import orient

from ..scene import Array
from .raster import Grid

CLOSE_M = 0.5  # notches narrower than twice this are closed
SIMPLIFY_CELLS = 0.75  # corners move by less than this many cells


def outline(row: npt.NDArray[np.intp], column: npt.NDArray[np.intp], grid: Grid) -> shapely.Polygon:
    """Outline the cells, without the steps of the grid.

    Parameters
    ----------
    row, column : array, shape (k,), k >= 1
        Cells of one building.
    grid : Grid

    Returns
    -------
    shapely.Polygon
        The largest piece, without holes [m].
    """
    order = np.lexsort((column, row))
    row, column = row[order], column[order]
    # Runs of cells side by side are one box: far fewer boxes to unite.
    starts = np.flatnonzero(np.r_[True, (np.diff(row) != 0) | (np.diff(column) != 1)])
    ends = np.r_[starts[1:], len(row)] - 1
    low = grid.centre(row[starts], column[starts]) - grid.cell_m / 2
    high = grid.centre(row[ends], column[ends]) + grid.cell_m / 2
    area = shapely.union_all(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    close_m = max(CLOSE_M, grid.cell_m * 0.75)
    area = area.buffer(close_m, join_style="mitre").buffer(-close_m, join_style="mitre")
    area = largest(area).simplify(SIMPLIFY_CELLS * grid.cell_m)
    return shapely.Polygon(largest(area).exterior)


def largest(area: shapely.Geometry) -> shapely.Polygon:
    """The largest polygon of an area that may be in pieces."""
    pieces = [piece for piece in shapely.get_parts(area) if piece.geom_type == "Polygon"]
    return max(pieces, key=lambda piece: piece.area)


def ring(polygon: shapely.Polygon) -> Array:
    """Its outer ring, open, counter-clockwise, shape (k, 2) [m]."""
    corners: Array = np.asarray(orient(polygon).exterior.coords, dtype=np.float64)[:-1, :2]
    return corners
