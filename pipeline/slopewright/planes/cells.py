"""A face cut into square cells along its contour and fall line; a cell is one observation.  Metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..geometry.moments import Array, shifted, sum_by_label
from .atoms import Atoms
from .model import PlaneSet

MAX_CELLS = 49  # of a face: an eigenvalue problem of this size
MIN_CELL_M = 0.25
CELL_SPACINGS = 1.5
FINE_WINDOW_CELLS = 7  # of a window with the smallest cells, for lengths shorter than a large face's cells
FULL_CELL_POINTS = 8.0  # a cell of this many points is rarely empty by chance
MIN_INNER_CELLS = 9  # fewer do not show how dense a face is


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """A face in square cells."""

    side_m: float
    index: npt.NDArray[np.int64]  # (c, 2) column and row
    count: Array  # (c,)
    plan: Array  # (c, 2) mean plan position about the face's centroid [m]
    mean: Array  # (c,) mean residual [m]
    within_m2: float  # sum of squares of the residuals about their cell's mean
    within_dof: float


def covered_area(atoms: Atoms, members: npt.NDArray[np.int64], planes: PlaneSet, k: int) -> float:
    """Area of a plane that its points cover [m²]: their number over their density away from the border."""
    if atoms.dense:  # cubes that are met have been counted
        return float(planes.area_m2[k])
    side_m = float(np.sqrt(FULL_CELL_POINTS / atoms.density_per_m2))
    cells = face_cells(atoms, members, planes, k, side_m)
    taken = np.zeros(np.ptp(cells.index, axis=0) + 3)
    u, v = (cells.index + 1).T
    taken[u, v] = cells.count
    inner = (taken[u - 1, v] > 0) & (taken[u + 1, v] > 0) & (taken[u, v - 1] > 0) & (taken[u, v + 1] > 0)
    if int(inner.sum()) < MIN_INNER_CELLS:
        return float(planes.area_m2[k])
    return float(cells.count.sum() / cells.count[inner].mean() * side_m**2)


def cell_side(atoms: Atoms, area_m2: float) -> float:
    """Side of a face's cells: small, but no more of them than `MAX_CELLS`."""
    return float(max(MIN_CELL_M, CELL_SPACINGS * atoms.spacing_m, np.sqrt(area_m2 / MAX_CELLS)))


def face_cells(
    atoms: Atoms, members: npt.NDArray[np.int64], planes: PlaneSet, k: int, side_m: float
) -> Cells:
    """Cut a plane's atoms into cells along its contour and fall line."""
    centroid, normal = planes.centroid[k], planes.normal[k]
    centre = atoms.centre[members] - centroid
    level = np.array([-normal[1], normal[0], 0.0])
    size = float(np.hypot(*level[:2]))
    along = level / size if size > 1e-6 else np.array([1.0, 0.0, 0.0])
    up = np.cross(normal, along)
    uv = np.stack([centre @ along, centre @ up], axis=1)
    index = np.floor((uv - uv.min(axis=0)) / side_m).astype(np.int64)
    key = index[:, 0] * (int(index[:, 1].max()) + 1) + index[:, 1]
    _, first, cell = np.unique(key, return_index=True, return_inverse=True)
    sums = shifted(sum_by_label(atoms.moments[members], cell, len(first)), -centroid)
    count = sums[:, 0]
    mean = sums[:, 1:4] @ normal / count
    outer = np.outer(normal, normal)[np.triu_indices(3)] * np.array([1, 2, 2, 1, 2, 1])
    within = float(np.maximum(sums[:, 4:] @ outer - count * mean**2, 0.0).sum())
    return Cells(
        side_m=side_m,
        index=index[first],
        count=count,
        plan=sums[:, 1:3] / count[:, None],
        mean=mean,
        within_m2=within,
        within_dof=float((count - 1.0).sum()),
    )


def fine_window(cells: Cells) -> Cells:
    """The square window of small cells about the middle one, without the scatter within the rest."""
    middle = np.median(cells.index, axis=0)
    inside = (np.abs(cells.index - middle) <= FINE_WINDOW_CELLS // 2).all(axis=1)
    return Cells(
        side_m=cells.side_m,
        index=cells.index[inside],
        count=cells.count[inside],
        plan=cells.plan[inside],
        mean=cells.mean[inside],
        within_m2=cells.within_m2,
        within_dof=cells.within_dof,
    )
