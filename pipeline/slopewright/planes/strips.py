"""What sets the strips of a flight apart, from windows of the roof that several of them saw.  Metres."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..geometry.moments import QUANTUM_M, Array, cell_keys, cell_moments, shifted, sum_by_label

WINDOW_POINTS = 16.0  # show a plane and a strip's lift
MIN_WINDOW_M = 1.5  # wide enough to feel noise that neighbours share
PRIOR_M = 0.1  # sd of a strip's offset along each axis: twice what providers promise; common practice
MIN_WINDOW_POINTS = 8
ROUGH = 2.0  # a window that scatters more than this many times the usual holds an edge or leaves
USUAL = 0.3  # quantile over windows
MIN_ROUNDNESS = 0.05  # smaller over larger spread in plan: a row of points shows no slope
LEAST_RMS_M = 0.005  # no strip scatters less


def joined_strips(xyz: Array, strip: npt.NDArray[np.integer]) -> Array:
    """Set the strips of a flight upon each other.

    Parameters
    ----------
    xyz : array, shape (n, 3) [m]
    strip : integer array, shape (n,)
        The strip of each point, any numbers.

    Returns
    -------
    array, shape (n, 3) [m]
        Moved by a whole strip's offset each, by nothing on the mean over all points: the roof stays where its
        points are.  The input itself where nothing tells.

    Notes
    -----
    In each window a plane z = a x + b y + c and a lift of each strip are fitted together; the lift is what a
    strip's offset (dx, dy, dz) does to a plane of that slope, dz - a dx - b dy.  All windows together give
    the offsets by least squares with a prior: slopes of several directions tell dx and dy from dz.  Sums are
    exact, so that the order of the points does not matter.
    """
    names, index = np.unique(strip, return_inverse=True)
    k = len(names)
    if k < 2 or not np.isfinite(xyz).all():
        return xyz
    low, high = xyz.min(axis=0), xyz.max(axis=0)
    points = xyz - np.floor(0.5 * (low + high))
    spread_m2 = max(float(np.prod(high[:2] - low[:2])), 1.0)
    keys, _ = cell_keys(points, max(MIN_WINDOW_M, float(np.sqrt(WINDOW_POINTS * spread_m2 / len(xyz)))))
    cells, parts, _ = cell_moments(points, keys * k + index)
    windows, of_window = np.unique(cells // k, return_inverse=True)
    whole = sum_by_label(parts, of_window, len(windows))
    centre = whole[:, 1:4] / whole[:, :1]
    parts, whole = shifted(parts, -centre[of_window]), shifted(whole, -centre)
    sums = np.zeros((len(windows), k, 10))
    sums[of_window, cells % k] = parts

    plan = whole[:, [[4, 5], [5, 7]]]
    small, large = np.linalg.eigvalsh(plan).T
    good = (whole[:, 0] >= MIN_WINDOW_POINTS) & (small > MIN_ROUNDNESS * large)
    good &= (sums[:, :, 0] > 0).sum(axis=1) > 1
    whole, sums, plan = whole[good], sums[good], plan[good]
    if not len(whole):
        return xyz
    normal, lifts, slope, variance = _reduced(whole, sums, plan)
    usual = np.quantile(variance, USUAL)
    fair = variance <= ROUGH**2 * usual
    weight = 1.0 / np.maximum(variance[fair], LEAST_RMS_M**2)
    way = np.column_stack([-slope, np.ones(len(slope))])[fair]
    left = np.einsum("w,wst,wi,wj->sitj", weight, normal[fair], way, way, optimize=True).reshape(3 * k, 3 * k)
    right = np.einsum("w,ws,wi->si", weight, lifts[fair], way).reshape(3 * k)
    offset = np.linalg.solve(left + np.eye(3 * k) / PRIOR_M**2, right).reshape(k, 3)
    share = np.bincount(index, minlength=k) / len(index)
    offset -= share @ offset
    offset = np.rint(offset / QUANTUM_M) * QUANTUM_M
    moved: Array = xyz - offset[index]
    return moved


def _reduced(whole: Array, sums: Array, plan: Array) -> tuple[Array, Array, Array, Array]:
    """Normal equations of the strips' lifts in each window, the plane taken out.

    Returns the matrix (w, k, k), the right side (w, k), the slope (w, 2) and the mean square residual when
    each strip has its own lift (w,).
    """
    n = sums[:, :, 0]
    inverse = np.linalg.inv(plan)
    slope = np.einsum("wij,wj->wi", inverse, whole[:, [6, 8]])
    first = sums[:, :, 1:3]
    turn = np.einsum("wsi,wij,wtj->wst", first, inverse, first)
    normal = -turn - n[:, :, None] * n[:, None, :] / whole[:, :1, None]
    strips = np.arange(n.shape[1])
    normal[:, strips, strips] += n
    lifts = sums[:, :, 3] - np.einsum("wsi,wi->ws", first, slope)
    best = np.einsum("wst,wt->ws", np.linalg.pinv(normal, rcond=1e-6, hermitian=True), lifts)
    square = whole[:, 9] - np.einsum("wi,wi->w", slope, whole[:, [6, 8]]) - (best * lifts).sum(axis=1)
    free = np.maximum(whole[:, 0] - 2.0 - (n > 0).sum(axis=1), 1.0)
    return normal, lifts, slope, np.maximum(square, 0.0) / free
