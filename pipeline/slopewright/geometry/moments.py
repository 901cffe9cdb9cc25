"""Ten sums of a set of points, from which any region's plane follows.  Metres; z up.

A row of moments is (n, Σx, Σy, Σz, Σxx, Σxy, Σxz, Σyy, Σyz, Σzz).  Rows add: the moments of a union of
disjoint sets are the sum of their rows, so a region is refitted without touching its points again.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

N_MOMENTS = 10
QUANTUM_M = 2.0**-16  # 15 µm; whole multiples of it sum exactly in float64, whatever their order

_FIRST = np.array([0, 0, 0, 1, 1, 2])
_SECOND = np.array([0, 1, 2, 1, 2, 2])
_FULL = np.array([[0, 1, 2], [1, 3, 4], [2, 4, 5]])


def point_moments(points: Array) -> Array:
    """Moments of single points.

    Parameters
    ----------
    points : array, shape (n, 3)
        Coordinates [m], centred beforehand: squares of map coordinates lose the millimetres.

    Returns
    -------
    array, shape (n, 10)
    """
    moments = np.empty((len(points), N_MOMENTS))
    moments[:, 0] = 1.0
    moments[:, 1:4] = points
    moments[:, 4:] = points[:, _FIRST] * points[:, _SECOND]
    return moments


def sum_by_label(moments: Array, labels: npt.NDArray[np.integer], n_labels: int) -> Array:
    """Sum rows that share a label; rows labelled below zero are left out.

    Parameters
    ----------
    moments : array, shape (m, k)
    labels : integer array, shape (m,)
    n_labels : int

    Returns
    -------
    array, shape (n_labels, k)
    """
    chosen = labels >= 0
    start = np.concatenate([[0], np.cumsum(chosen)])
    members = csr_matrix((np.ones(int(start[-1])), labels[chosen], start), shape=(len(labels), n_labels))
    total: Array = members.T @ moments
    return total


def mean_and_covariance(moments: Array) -> tuple[Array, Array]:
    """Centroids and covariance matrices (divisor n) of rows of moments.

    Parameters
    ----------
    moments : array, shape (m, 10), n > 0 in each row

    Returns
    -------
    mean : array, shape (m, 3) [m]
    covariance : array, shape (m, 3, 3) [m²]
    """
    mean = moments[:, 1:4] / moments[:, :1]
    packed = moments[:, 4:] / moments[:, :1] - mean[:, _FIRST] * mean[:, _SECOND]
    return mean, packed[:, _FULL]


def shifted(moments: Array, shift: Array) -> Array:
    """Moments of the same points moved by a shift per row.

    Parameters
    ----------
    moments : array, shape (m, 10)
    shift : array, shape (m, 3) or (3,) [m]

    Returns
    -------
    array, shape (m, 10)
    """
    shift = np.broadcast_to(shift, (len(moments), 3))
    n, first = moments[:, :1], moments[:, 1:4]
    moved = np.empty_like(moments)
    moved[:, :1] = n
    moved[:, 1:4] = first + n * shift
    moved[:, 4:] = (
        moments[:, 4:]
        + first[:, _FIRST] * shift[:, _SECOND]
        + shift[:, _FIRST] * first[:, _SECOND]
        + n * shift[:, _FIRST] * shift[:, _SECOND]
    )
    return moved


def cell_keys(points: Array, cell_m: float) -> tuple[Index, tuple[int, int, int]]:
    """Key of the cube that holds each point; keys of cubes that touch differ by fixed offsets.

    Parameters
    ----------
    points : array, shape (n, 3) [m]
    cell_m : float
        Side of the cubes; the grid starts at the lowest coordinate of each axis.

    Returns
    -------
    keys : int64 array, shape (n,)
    strides : (int, int, int)
        What a step along x, y, z adds to a key.  A free layer all round keeps steps from wrapping.
    """
    low = points.min(axis=0)
    cells = np.floor((points - low) * (1.0 / cell_m)).astype(np.int64) + 1
    size = cells.max(axis=0) + 2
    strides = (1, int(size[0]), int(size[0] * size[1]))
    return cells[:, 0] + strides[1] * cells[:, 1] + strides[2] * cells[:, 2], strides


def cell_moments(points: Array, keys: Index) -> tuple[Index, Array, Index]:
    """Moments of the points in each cell, the same to the last bit for any order of the points.

    Parameters
    ----------
    points : array, shape (n, 3) [m]
        Centred; rounded to `QUANTUM_M` here.
    keys : int64 array, shape (n,)

    Returns
    -------
    cells : int64 array, shape (m,)
        Sorted keys.
    moments : array, shape (m, 10)
    cell_of_point : int64 array, shape (n,)
    """
    order = np.argsort(keys, kind="stable")
    ranked = keys[order]
    starts = np.flatnonzero(np.concatenate([[True], ranked[1:] != ranked[:-1]]))
    rank = np.zeros(len(keys), dtype=np.int64)
    rank[starts[1:]] = 1
    rank = np.cumsum(rank)
    cell_of_point = np.empty(len(keys), dtype=np.int64)
    cell_of_point[order] = rank

    # Within a cell, in whole quanta about the cell's first corner: sums of integers are exact.
    whole = np.rint(points[order] * (1.0 / QUANTUM_M))
    corner = np.minimum.reduceat(whole, starts, axis=0)
    whole -= corner[rank]
    sums = np.empty((len(starts), N_MOMENTS))
    sums[:, 0] = np.diff(np.append(starts, len(keys)))
    for j in range(3):
        sums[:, 1 + j] = np.add.reduceat(whole[:, j], starts)
    for j, (a, b) in enumerate(zip(_FIRST, _SECOND, strict=True)):
        sums[:, 4 + j] = np.add.reduceat(whole[:, a] * whole[:, b], starts)
    sums[:, 1:4] *= QUANTUM_M
    sums[:, 4:] *= QUANTUM_M**2
    return ranked[starts], shifted(sums, corner * QUANTUM_M), cell_of_point
