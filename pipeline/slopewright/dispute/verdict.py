"""Which readings agree with the roof, which contradict it, and whether all of them say another scale.

References
----------
.. [1] ISO 13528:2015, 9.7 (normalised error E_n); JCGM 100:2008, 6.2 (expanded uncertainties, here of 95 %).
.. [2] W. Baarda, "A testing procedure for use in geodetic networks," Netherlands Geodetic Commission, 1968:
   one-dimensional tests of alternatives, the most significant one adopted first, then tested again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ..checks import AGREE, CANNOT_TELL, CONFLICT
from ..measurement import COVERAGE_95, Measurement
from ..scene import Array

FALSE_ALARM = 0.01  # of a list of readings that are all right, on a roof whose bounds hold
SCALE_SHARE = 0.5  # of it that the test of the scale takes: it is the harder one to find
LEAST_FOR_SCALE = 3  # readings; of fewer, one wrong one looks the same
BLUNDER_M = 0.3  # what a tape is there to find: where it would show too seldom, agreement says nothing
ONE_SIDED_95 = 1.645  # of the normal distribution: it then shows in 95 cases of 100


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """Readings against a model."""

    e_n: Array  # (n,)
    verdicts: tuple[str, ...]
    reasons: tuple[str, ...]
    limit: float  # of |E_n|
    scale: Measurement | None
    scale_conflict: bool
    left_u: Array  # (n,) standard uncertainty of reading less model [m]


def judge(taped_m: Array, u_m: Array, model_m: Array, covariance: Array) -> Judged:
    """Test tape readings against the lengths of a model, one by one and together.

    Parameters
    ----------
    taped_m, u_m : array, shape (n,)
        Readings and their standard uncertainties [m], independent of one another.
    model_m : array, shape (n,)
    covariance : array, shape (n, n)
        Of the model's lengths [m²].

    Notes
    -----
    Alternatives are one blunder a reading, and one relative error common to all.  The limit keeps false
    alarms of a whole list at `FALSE_ALARM`, by Bonferroni's inequality.  Between |E_n| = 1 [1]_ and the limit
    neither agreement nor conflict is said.
    """
    n = len(taped_m)
    difference = taped_m - model_m
    spread = covariance + np.diag(u_m**2)
    sigma = np.sqrt(np.diag(spread))
    e_n = difference / (COVERAGE_95 * sigma)
    with_scale = n >= LEAST_FOR_SCALE
    for_readings = FALSE_ALARM * (1 - SCALE_SHARE if with_scale else 1)
    critical = np.full(n, -ndtri(for_readings / 2 / n))
    limit = float(critical[0]) / COVERAGE_95
    alternatives = np.eye(n)
    if with_scale:
        alternatives = np.column_stack([alternatives, model_m])
        critical = np.append(critical, -ndtri(FALSE_ALARM * SCALE_SHARE / 2))
    chosen = _adopted(difference, spread, alternatives, critical)
    scale_conflict = with_scale and n in chosen
    verdicts, reasons = [], []
    for i in range(n):
        verdict, reason = _verdict(float(e_n[i]), i in chosen, float(sigma[i]), limit, scale_conflict)
        verdicts.append(verdict)
        reasons.append(reason)
    outliers = [k for k in chosen if k < n]
    return Judged(
        e_n=e_n,
        verdicts=tuple(verdicts),
        reasons=tuple(reasons),
        limit=limit,
        scale=_scale(difference, spread, model_m, outliers) if n - len(outliers) > 1 else None,
        scale_conflict=scale_conflict,
        left_u=sigma,
    )


def _verdict(e_n: float, adopted: bool, sigma: float, limit: float, scale: bool) -> tuple[str, str]:
    if adopted or (abs(e_n) > limit and not scale):
        return CONFLICT, ""
    if abs(e_n) > limit:
        return CONFLICT, "as all readings together: another scale"
    if abs(e_n) > 1:
        return CANNOT_TELL, "further apart than 95 % bounds allow, not far enough to call it a conflict"
    if (COVERAGE_95 + ONE_SIDED_95) * sigma > BLUNDER_M:
        return CANNOT_TELL, f"the bounds are too wide: an error of {BLUNDER_M:g} m might not show"
    return AGREE, ""


def _adopted(difference: Array, spread: Array, alternatives: Array, critical: Array) -> list[int]:
    """Alternatives that the readings call for, most significant first [2], each needed beside the others."""
    chosen: list[int] = []
    while len(chosen) < len(difference) - 1 or not chosen:
        over = _significance(difference, spread, alternatives, chosen) / critical
        best = int(np.argmax(over))
        if over[best] <= 1.0:
            break
        chosen.append(best)
    for k in list(chosen):
        others = [j for j in chosen if j != k]
        if _significance(difference, spread, alternatives, others)[k] <= critical[k]:
            chosen = others
    return chosen


def _significance(difference: Array, spread: Array, alternatives: Array, adopted: list[int]) -> Array:
    """|w| of each alternative once some are adopted, 0 for those and for what they already explain."""
    weight = np.linalg.inv(spread)
    rest, covariance = difference, spread
    if adopted:
        a = alternatives[:, adopted]
        normal = np.linalg.inv(a.T @ weight @ a)
        rest = difference - a @ (normal @ (a.T @ weight @ difference))
        covariance = spread - a @ normal @ a.T
    score = alternatives.T @ weight @ rest
    variance = np.einsum("ij,ik,kl,lj->j", alternatives, weight, covariance @ weight, alternatives)
    full = np.einsum("ij,ik,kj->j", alternatives, weight, alternatives)
    known = variance > 1e-9 * full
    w = np.zeros(len(score))
    w[known] = np.abs(score[known]) / np.sqrt(variance[known])
    w[adopted] = 0.0
    return w


def _scale(difference: Array, spread: Array, model_m: Array, outliers: list[int]) -> Measurement:
    """The relative difference common to the readings that are no outliers."""
    kept = [i for i in range(len(difference)) if i not in outliers]
    weight = np.linalg.inv(spread[np.ix_(kept, kept)])
    length = model_m[kept]
    information = float(length @ weight @ length)
    share = float(length @ weight @ difference[kept]) / information
    return Measurement.normal(share, information**-0.5)
