"""Whether what lies lowest is ground: it must lie around the roofs, below them, across a drop.  Metres.

The lowest surfaces of a cloud that was already cut are eaves or a lower roof.  An eave goes on into
the roof without a drop; a lower roof touches one side, and is smaller than what stands above it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from ..scene import Array
from .config import IsolateConfig
from .raster import Grid, Mask, Surface

NEAR_GROUND_M = 0.5  # cells whose top is so near the ground surface are ground
REACH_M = 3.0  # ground is looked for so far from the edge of a roof ...
DROP_M = 1.5  # ... and must lie so far below it
BORDER_LEAST = 0.2  # share of the outline along which ground must be seen
ENCLOSED_LEAST = 0.65  # share of the roof inside the hull of the ground around it
AROUND_M = 10.0  # ground further off than this does not count
RISING_MOST = 0.5  # a mound: so much of its outline goes on into the ground ...
FREE_LEAST = 0.15  # ... and less than this drops


@dataclass(frozen=True, slots=True, kw_only=True)
class Border:
    """What one candidate's outline borders on, as shares of its length."""

    drops: float  # ground well below
    goes_on: float  # ground at the same height
    has_ground: bool  # the ground there lies around the candidate or is larger than it

    @property
    def is_mound(self) -> bool:
        """A part of the terrain that stands out."""
        return self.goes_on > RISING_MOST and self.drops < FREE_LEAST


def ground_cells(surface: Surface, ground_m: Array) -> Mask:
    """Cells in which the ground surface itself is seen from above."""
    with np.errstate(invalid="ignore"):
        near: Mask = surface.seen & (np.abs(surface.mean_m - ground_m) <= NEAR_GROUND_M)
    return near


def border(
    row: npt.NDArray[np.intp],
    column: npt.NDArray[np.intp],
    height_m: Array,
    ground: Mask,
    ground_m: Array,
    grid: Grid,
    config: IsolateConfig,
) -> Border:
    """Look at the surroundings of a candidate.

    Parameters
    ----------
    row, column : array, shape (k,)
        Its cells.
    height_m : array, shape of the grid
        Height of the top surface, NaN where unknown [m].
    ground : array of bool, shape of the grid
        Cells in which ground, or what is taken for it, is seen.
    ground_m : array, shape of the grid
        Height of that ground [m].
    grid : Grid
    config : IsolateConfig

    Returns
    -------
    Border
    """
    margin = int(np.ceil(AROUND_M / grid.cell_m)) + 1
    top, left = max(row.min() - margin, 0), max(column.min() - margin, 0)
    window = np.s_[top : row.max() + margin + 1, left : column.max() + margin + 1]
    around = ground[window]
    own = np.zeros(around.shape, dtype=bool)
    own[row - top, column - left] = True
    if not around.any():
        return Border(drops=0.0, goes_on=0.0, has_ground=False)

    rim = own & ~ndimage.binary_erosion(own, np.ones((3, 3), dtype=bool))
    distance, (near_row, near_column) = ndimage.distance_transform_edt(~around, return_indices=True)
    reached = rim & (distance * grid.cell_m <= REACH_M)
    drop_m = height_m[window] - ground_m[window][near_row, near_column]
    with np.errstate(invalid="ignore"):
        drops = float((reached & (drop_m >= DROP_M)).sum() / rim.sum())
        goes_on = float((reached & (drop_m < DROP_M)).sum() / rim.sum())
    beside = around & ~own & (ndimage.distance_transform_edt(~own) * grid.cell_m <= AROUND_M)
    has_ground = drops >= BORDER_LEAST and (
        beside.sum() >= own.sum() or _enclosed(own, beside) >= ENCLOSED_LEAST
    )
    return Border(drops=drops, goes_on=goes_on, has_ground=bool(has_ground))


def _enclosed(own: Mask, beside: Mask) -> float:
    """Share of the cells inside the convex hull of those beside."""
    if beside.sum() < 3:
        return 0.0
    hull = shapely.MultiPoint(np.argwhere(beside)).convex_hull
    return float(np.mean(shapely.intersects_xy(hull, *np.argwhere(own).T)))
