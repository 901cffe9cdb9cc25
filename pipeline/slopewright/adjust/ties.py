"""One adjustment: what must meet in a point is an observation of the parameter vector, tested, then used."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..scene import Array
from .model import SHARED, Model, differences, jacobian

TIE_SD_M = 0.001  # ridges, hips and eaves of one roof meet in points
LIMIT = 3.0  # a tie that is off by more standard deviations than this shows that they are too small
FAR_M = 0.25  # a tie that is off by more than this is none: the incidence is wrong there
ITERATIONS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Adjusted:
    """The vector after the ties, its covariance, and the vertices whose ties were refused."""

    vector: Array  # (n,)
    covariance: Array  # (n, n)
    refused: tuple[int, ...]  # rows of topology.vertices


def tie(model: Model, vector: Array, covariance: Array) -> Adjusted:
    """Condition the parameter vector on curves meeting in their vertices and planes in their corners.

    Parameters
    ----------
    model : Model
    vector : array, shape (n,)
        Before the ties.
    covariance : array, shape (n, n)

    Returns
    -------
    Adjusted

    Notes
    -----
    Gauss-Newton of the condition equations with weights, that is an iterated Kalman update: x = x0 + K (J
    (x - x0) - r).  What all edges share (bleed, scale, tilt) is considered but not estimated: its rows of
    the gain are zero and the covariance is carried on by Joseph's form, since ties that fail for other
    reasons would be blamed on it.  Parameters whose ties fail by more than `LIMIT` standard deviations
    are widened until they do not.

    References
    ----------
    .. [1] E. M. Mikhail and F. Ackermann, "Observations and Least Squares," 1976, ch. 7-9 (general least
       squares with conditions).
    .. [2] S. F. Schmidt, "Application of state-space methods to navigation problems," Adv. Control Syst. 3,
       1966 (parameters that are considered and not estimated; from memory).
    """
    groups = _groups(model)
    if not groups:
        return Adjusted(vector=vector, covariance=covariance, refused=())
    values, owner = _residuals(model, vector[None], groups)
    batch, step = differences(model, vector)
    slope = jacobian(_residuals(model, batch, groups)[0], step)
    covariance, refused = _strained(model, values[0], slope, owner, covariance)
    take = ~np.isin(owner, refused)
    x, free = vector, np.ones(model.size)
    free[-len(SHARED) :] = 0.0
    gain = np.zeros((model.size, int(take.sum())))
    for iteration in range(ITERATIONS if take.any() else 0):
        if iteration:
            values, _ = _residuals(model, x[None], groups)
            batch, step = differences(model, x)
            slope = jacobian(_residuals(model, batch, groups)[0], step)
        j, r = slope[take], values[0, take]
        spread = j @ covariance @ j.T + TIE_SD_M**2 * np.eye(len(j))
        gain = np.linalg.solve(spread, j @ covariance).T * free[:, None]
        x = vector + gain @ (j @ (x - vector) - r)
    if take.any():
        rest = np.eye(model.size) - gain @ j
        covariance = rest @ covariance @ rest.T + TIE_SD_M**2 * gain @ gain.T
    return Adjusted(
        vector=x,
        covariance=(covariance + covariance.T) / 2,
        refused=tuple(sorted({groups[g][0] for g in refused})),
    )


def _strained(
    model: Model, residual: Array, slope: Array, owner: npt.NDArray[np.int64], covariance: Array
) -> tuple[Array, list[int]]:
    """Widen what disagrees more than it says it can; refuse ties that are off by more than a construction.

    Returns
    -------
    covariance : array, shape (n, n)
    refused : list of int
        Groups that are no ties.
    """
    factor = np.ones(model.size)
    refused = []
    for g in np.unique(owner):
        j, r = slope[owner == g], residual[owner == g]
        if np.abs(r).max() > FAR_M:
            refused.append(int(g))
            continue
        spread = j @ covariance @ j.T + TIE_SD_M**2 * np.eye(len(j))
        ratio = float(r @ np.linalg.solve(spread, r)) / max(len(r) - 1, 1)
        if ratio > LIMIT**2:
            touched = (np.abs(j) > 1e-9).any(axis=0)
            factor[touched] = np.maximum(factor[touched], np.sqrt(ratio))
    factor[-len(SHARED) :] = 1.0
    return factor[:, None] * covariance * factor[None, :], refused


def _groups(model: Model) -> list[tuple[int, list[int]]]:
    """(vertex, its corners) wherever more meets than is needed to fix the point."""
    corners: dict[int, list[int]] = {}
    for n, corner in enumerate(model.topology.corners):
        if len(corner.planes) > 1:
            corners.setdefault(corner.vertex, []).append(n)
    groups = []
    for v, vertex in enumerate(model.topology.vertices):
        if len(vertex.curves) > 2 or v in corners:
            groups.append((v, corners.get(v, [])))
    return groups


def _residuals(
    model: Model, vectors: Array, groups: list[tuple[int, list[int]]]
) -> tuple[Array, npt.NDArray[np.int64]]:
    """Residuals (b, q) [m] and the group of each."""
    shape = model.shape(vectors)
    parts, owner = [], []
    for g, (v, corners) in enumerate(groups):
        n_curves = len(model.topology.vertices[v].curves)
        if n_curves > 2:
            parts.append(shape.misses[:, v, :n_curves])
            owner += [g] * n_curves
        for c in corners:
            n_planes = len(model.topology.corners[c].planes)
            parts.append(shape.spread[:, c, :n_planes])
            owner += [g] * n_planes
    return np.concatenate(parts, axis=1), np.array(owner, dtype=np.int64)
