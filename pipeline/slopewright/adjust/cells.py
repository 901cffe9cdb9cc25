"""What is kept of the points for edits that fit planes anew: means over cells of the plan.  Metres."""

from __future__ import annotations

import numpy as np

from ..scene import Array, Labels

CELL_M = 0.5  # small against any face; noise that is correlated over more loses nothing in the means
GRAIN_M = 1e-4  # coordinates are summed as whole numbers of this: exact, whatever the order of the points


def cells_of(xyz: Array, labels: Labels, n_planes: int) -> tuple[Array, ...]:
    """Points and their mean coordinates in the cells of each plane.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        [m]
    labels : array, shape (n,)
        Plane of each point, -1 for none.
    n_planes : int

    Returns
    -------
    tuple of array, shape (m, 4) each
        Count, mean x, y, z [1, m, m, m] of the cells that hold points of the plane.
    """
    on = labels >= 0
    if not on.any():
        return tuple(np.empty((0, 4)) for _ in range(n_planes))
    own = xyz[on]
    corner = own.min(axis=0)
    at = ((own[:, :2] - corner[:2]) / CELL_M).astype(np.int64)
    shape = (n_planes, *(at.max(axis=0) + 1))
    cell = np.ravel_multi_index((labels[on].astype(np.int64), at[:, 0], at[:, 1]), shape)
    count = np.bincount(cell, minlength=int(np.prod(shape)))
    filled = np.flatnonzero(count)
    grains = np.rint((own - corner) / GRAIN_M)
    sums = [np.bincount(cell, weights=axis, minlength=len(count))[filled] for axis in grains.T]
    mean = corner + GRAIN_M * np.stack(sums, axis=1) / count[filled, None]
    rows = np.column_stack([count[filled], mean])
    plane = np.unravel_index(filled, shape)[0]
    return tuple(rows[plane == k] for k in range(n_planes))
