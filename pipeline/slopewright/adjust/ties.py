"""What must meet in a point: conditions of the parameter vector, tested before they are used."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc

from ..scene import Array
from .model import SHARED, Model, Shape

TIE_SD_M = 0.001  # ridges, hips and eaves of one roof meet in points
LIMIT = float(chdtrc(1, 9.0))  # chance of a false alarm: that of three standard deviations
FAR_M = 0.25  # a tie that is off by more than this is none: the incidence is wrong there


class Ties:
    """The points of the plan where more meets than is needed to fix them."""

    def __init__(self, model: Model) -> None:
        topology = model.topology
        corners: dict[int, list[int]] = {}
        for n, corner in enumerate(topology.corners):
            if len(corner.planes) > 1:
                corners.setdefault(corner.vertex, []).append(n)
        miss: list[tuple[int, int]] = []
        spread: list[tuple[int, int]] = []
        owner_miss: list[int] = []
        owner_spread: list[int] = []
        for v, vertex in enumerate(topology.vertices):
            if len(vertex.curves) > 2:
                miss += [(v, n) for n in range(len(vertex.curves))]
                owner_miss += [v] * len(vertex.curves)
            for c in corners.get(v, []):
                n_planes = len(topology.corners[c].planes)
                spread += [(c, n) for n in range(n_planes)]
                owner_spread += [v] * n_planes
        self._miss = np.array(miss, dtype=np.int64).reshape(-1, 2).T
        self._spread = np.array(spread, dtype=np.int64).reshape(-1, 2).T
        self.owner = np.array(owner_miss + owner_spread, dtype=np.int64)  # rows of topology.vertices

    def residuals(self, shape: Shape) -> Array:
        """How far each is from meeting, shape (b, q) [m]."""
        return np.concatenate(
            [
                shape.misses[:, self._miss[0], self._miss[1]],
                shape.spread[:, self._spread[0], self._spread[1]],
            ],
            axis=1,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tested:
    """The covariance that the ties leave possible, and which of them are to be used."""

    covariance: Array  # (n, n)
    use: npt.NDArray[np.bool_]  # (q,) residuals of ties that are in force
    refused: tuple[int, ...]  # rows of topology.vertices


def tested(
    residual: Array, slope: Array, owner: npt.NDArray[np.int64], covariance: Array, away: Collection[int] = ()
) -> Tested:
    """Widen what disagrees more than it says it can; refuse ties that are off by more than a construction.

    Parameters
    ----------
    residual : array, shape (q,)
        Before anything was adjusted [m].
    slope : array, shape (q, n)
        Its derivatives.
    owner : array, shape (q,)
        The vertex of each.
    covariance : array, shape (n, n)
    away : collection of int
        Vertices whose ties are refused unseen.

    Notes
    -----
    Where a vertex's chance is below `LIMIT`, standard deviations of what meets there grow by the root of the
    mean square (Birge's ratio).
    What the whole roof shares is not widened: one corner says nothing of it.
    """
    factor = np.ones(len(covariance))
    refused = []
    for v in np.unique(owner):
        j, r = slope[owner == v], residual[owner == v]
        if v in away or np.abs(r).max() > FAR_M:
            refused.append(int(v))
            continue
        chance, ratio = misfit(r, j, covariance)
        if chance < LIMIT:
            touched = (np.abs(j) > 1e-9).any(axis=0)
            factor[touched] = np.maximum(factor[touched], np.sqrt(ratio))
    factor[-len(SHARED) :] = 1.0
    return Tested(
        covariance=factor[:, None] * covariance * factor,
        use=~np.isin(owner, refused),
        refused=tuple(refused),
    )


def misfit(residual: Array, slope: Array, covariance: Array) -> tuple[float, float]:
    """Chance of residuals as large as these, and their mean square in standard deviations.

    Notes
    -----
    The residuals of one vertex are more than its conditions: lines less their meeting point, heights less
    their mean.  The number of conditions is that of the directions in which the residuals are free to err
    by more than the ties' own tolerance; the sum of squares is chi square of so many degrees of freedom.
    """
    variance, direction = np.linalg.eigh(slope @ covariance @ slope.T)
    free = variance > TIE_SD_M**2
    dof = int(free.sum())
    if not dof:
        return 1.0, 0.0
    score = float(((residual @ direction[:, free]) ** 2 / (variance[free] + TIE_SD_M**2)).sum())
    return float(chdtrc(dof, score)), score / dof
