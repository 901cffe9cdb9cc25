"""One adjustment: what must meet in a point is an observation of the parameter vector, tested, then used."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..scene import Array
from .model import Model, differences, jacobian

TIE_SD_M = 0.001  # ridges, hips and eaves of one roof meet in points
LIMIT = 4.0  # a tie that is off by more standard deviations than this is not believed
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
    (x - x0) - r).  A group of conditions at one vertex is left out if its chi-square is over
    `LIMIT`² + its size.

    References
    ----------
    .. [1] E. M. Mikhail and F. Ackermann, "Observations and Least Squares," 1976, ch. 7-9 (general least
       squares with conditions).
    """
    groups = _groups(model)
    if not groups:
        return Adjusted(vector=vector, covariance=covariance, refused=())
    used = list(range(len(groups)))
    x = vector
    refused: list[int] = []
    for _ in range(ITERATIONS):
        values, owner = _residuals(model, x[None], groups)
        batch, step = differences(model, x)
        slope = jacobian(_residuals(model, batch, groups)[0], step)
        residual = values[0]
        if not refused and x is vector:
            for g in used:
                mine = owner == g
                j, r = slope[mine], residual[mine]
                spread = j @ covariance @ j.T + TIE_SD_M**2 * np.eye(int(mine.sum()))
                if float(r @ np.linalg.solve(spread, r)) > LIMIT**2 + mine.sum():
                    refused.append(g)
            used = [g for g in used if g not in refused]
            if not used:
                break
        take = np.isin(owner, used)
        j, r = slope[take], residual[take]
        spread = j @ covariance @ j.T + TIE_SD_M**2 * np.eye(len(j))
        gain = np.linalg.solve(spread, j @ covariance).T
        x = vector + gain @ (j @ (x - vector) - r)
        after = covariance - gain @ j @ covariance
    if used:
        covariance = (after + after.T) / 2
    return Adjusted(vector=x, covariance=covariance, refused=tuple(sorted({groups[g][0] for g in refused})))


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
