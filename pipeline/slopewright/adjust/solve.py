"""One adjustment: ties and observations condition the parameter vector, and it keeps one covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measurement import COVERAGE_95
from ..scene import Array
from .model import SHARED, Model, linearised, with_differences
from .observed import Observations
from .ties import TIE_SD_M, Ties, tested

MOST_ITERATIONS = 12
SETTLED = 0.01  # standard deviations: after a smaller step there is no other; the next were its square


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Adjusted:
    """The vector after all conditions, its covariance, and the vertices whose ties were refused."""

    vector: Array  # (n,)
    covariance: Array  # (n, n)
    refused: tuple[int, ...]  # rows of topology.vertices


def adjust(
    model: Model, vector: Array, covariance: Array, observations: Observations | None = None
) -> Adjusted:
    """Condition the parameter vector on curves meeting in their vertices, and on what was observed.

    Parameters
    ----------
    model : Model
    vector : array, shape (n,)
        As fitted to the points.
    covariance : array, shape (n, n)
    observations : Observations, optional

    Returns
    -------
    Adjusted

    Notes
    -----
    Gauss-Newton of condition equations with weights: at each linearisation a Kalman update of the prior by
    the ties, then one by each observation.  Ties are tested once, at the start.  What all edges share
    (bleed, scale, tilt) is considered by the ties but not estimated from them: corners of real buildings
    fail to meet for other reasons, and those would be blamed on it.  Corners close by what is their own;
    the covariance carries on what is shared.  An observation does move what is shared.  A forced one that
    is in conflict widens the one direction that explains it, just so far that it agrees: what is not
    correlated with it keeps its bounds.

    References
    ----------
    .. [1] E. M. Mikhail and F. Ackermann, "Observations and Least Squares," 1976, ch. 7-9 (general least
       squares with conditions).
    .. [2] S. F. Schmidt, "Application of state-space methods to navigation problems," Adv. Control Syst. 3,
       1966 (parameters that are considered and not estimated; from memory).
    """
    ties = Ties(model)
    told = observations if observations else None
    if not len(ties.owner) and not told:
        return Adjusted(vector=vector, covariance=covariance, refused=())
    away: set[int] = set()
    while True:
        found = _conditioned(model, vector, covariance, ties, told, away)
        turned = model.turned(vector, found.vector) & set(ties.owner.tolist()) - set(found.refused)
        if not turned:
            return found
        away |= turned


def _conditioned(
    model: Model, vector: Array, covariance: Array, ties: Ties, told: Observations | None, away: set[int]
) -> Adjusted:
    """One adjustment, without the ties of some vertices."""
    x, prior = vector, covariance
    use = np.ones(len(ties.owner), dtype=bool)
    refused: tuple[int, ...] = ()
    for iteration in range(MOST_ITERATIONS):
        batch, step = with_differences(model, x)
        shape = model.shape(batch)
        residual, slope = linearised(ties.residuals(shape), step)
        if iteration == 0:
            test = tested(residual, slope, ties.owner, covariance, away)
            prior, use, refused = test.covariance, test.use, test.refused
        slope = slope[use]
        gain = _gain(prior, slope)
        found = vector + gain @ (slope @ (x - vector) - residual[use])
        if told:
            after = _after(prior, slope, gain, TIE_SD_M)
            expected, seen = linearised(told.expected(model, batch, shape), step)
            for row, u in enumerate(told.u):
                innovation = told.value[row] - expected[row] - seen[row] @ (found - x)
                found, after = _seen(found, after, seen[row], innovation, u, forced=told.forced[row])
        moved = np.abs(found - x)
        x = found
        if (moved <= SETTLED * np.sqrt(np.diag(prior))).all():
            break
    if not told:
        after = _after(prior, slope, gain, TIE_SD_M)
    return Adjusted(vector=x, covariance=(after + after.T) / 2, refused=refused)


def _gain(prior: Array, slope: Array) -> Array:
    """How conditions move the vector: what is shared stays."""
    own = prior.copy()
    own[-len(SHARED) :] = own[:, -len(SHARED) :] = 0.0
    spread = slope @ own @ slope.T + TIE_SD_M**2 * np.eye(len(slope))
    return np.asarray(np.linalg.solve(spread, slope @ own).T)


def _after(prior: Array, slope: Array, gain: Array, u: float) -> Array:
    """Covariance after an update, in Joseph's form: right for any gain."""
    rest = np.eye(len(prior)) - gain @ slope
    return np.asarray(rest @ prior @ rest.T + u**2 * gain @ gain.T)


def _seen(
    x: Array, covariance: Array, slope: Array, innovation: float, u: float, *, forced: bool
) -> tuple[Array, Array]:
    """One observation more."""
    along = covariance @ slope
    variance = float(slope @ along)
    needed = (innovation / COVERAGE_95) ** 2 - u**2  # of the variance, for agreement
    if forced and needed > variance > 0:
        covariance = covariance + (needed / variance - 1) / variance * np.outer(along, along)
        along, variance = covariance @ slope, needed
    gain = (along / (variance + u**2))[:, None]
    return x + gain[:, 0] * innovation, _after(covariance, slope[None], gain, u)
