"""Holes that faces enclose: a roof that burnt through, or was not seen there, goes on over them.  Metres."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..scene import Array
from .arrangement import Cells
from .labelling import OUTSIDE, borders, connected

COURT_SHARE = 0.3  # of a hole in which ground is seen: a court
MOST_OF_PLANE = 0.5  # a hole larger than this share of the face around it is none


def fill_holes(cells: Cells, labels: npt.NDArray[np.int64], ground: Array) -> npt.NDArray[np.int64]:
    """Give cells outside of the roof that faces enclose to the faces around them; courts stay open.

    Parameters
    ----------
    cells : Cells
    labels : array, shape (c,)
        Plane of each cell, -1 for outside.
    ground : array, shape (c,)
        Plan area covered by points of the ground [m²].

    Notes
    -----
    What is filled is told as not seen: see `scrutiny`.
    """
    labels = labels.copy()
    rim = cells.piece_cells[(cells.piece_cells < 0).any(axis=1)].max(axis=1)
    for members in connected(cells, labels == OUTSIDE):
        if members[rim].any():
            continue
        area_m2 = float(cells.area[members].sum())
        around = borders(cells, labels, members)
        face_m2 = sum(float(cells.area[labels == k].sum()) for k in around)
        if float(ground[members].sum()) < COURT_SHARE * area_m2 and area_m2 < MOST_OF_PLANE * face_m2:
            _fill(cells, labels, members)
    return labels


def _fill(cells: Cells, labels: npt.NDArray[np.int64], members: npt.NDArray[np.bool_]) -> None:
    """Each cell, in place, takes the face with the longest border on it; those beside faces first."""
    left = set(np.flatnonzero(members).tolist())
    while left:
        best = (0.0, -1, OUTSIDE)
        for cell in sorted(left):
            beside = borders(cells, labels, np.arange(len(labels)) == cell)
            beside.pop(OUTSIDE, None)
            if beside:
                label = max(sorted(beside), key=lambda k: beside[k])
                best = max(best, (beside[label], cell, label))
        if best[1] < 0:
            return
        labels[best[1]] = best[2]
        left.remove(best[1])
