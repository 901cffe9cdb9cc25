"""Points in rows along an edge are no Poisson process: the edge is anywhere up to the next row.  Metres.

A scanner's lines and a grid's rows that run along an edge leave it undetermined by a row's gap, however many
points a row has; a Poisson process of that density would end within millimetres of its last point.
"""

from __future__ import annotations

import numpy as np
from scipy.special import log_ndtr, logsumexp

from ..scene import Array

LEAST_GAPS = 8
SIGNIFICANT = 3.0  # standard deviations by which gaps must be more uneven than those of a Poisson process
PARTIAL_ROWS = 3  # the outermost rows, of which an unsharp edge may have left a part
SLACK = 2.0  # standard deviations of a row's count by which it may fall short and be whole
N_OFFSETS, N_SMEARS = 81, 9
SAME_M = 1e-3  # distances that are one


def row_gaps(t: Array, smear_m: float) -> Array | None:
    """Gaps between points in rows; None where they are as even as those of a Poisson process, or blurred.

    Parameters
    ----------
    t : array, shape (n,)
        Distances from the edge of the points well inside it [m].
    smear_m : float
        How unsharp the edge is: rows closer than that do not show in it.

    Notes
    -----
    From a random place the next point is E[g²] / 2 E[g] away on average: E[g] in a Poisson process, half a
    gap in rows.  Of n gaps of a Poisson process that ratio has a standard deviation of 1 / sqrt(n).
    """
    gaps = np.diff(np.sort(t))
    if len(gaps) < LEAST_GAPS or gaps.sum() <= 0:
        return None
    row_m = _row_m(gaps)
    uneven = row_m / (2 * float(gaps.mean())) > 1 + SIGNIFICANT / np.sqrt(len(gaps))
    return gaps if uneven and row_m > smear_m else None


def end_of_rows(t: Array, gaps: Array, smear_prior: tuple[float, float]) -> tuple[float, float]:
    """Mean [m] and variance [m²] of where points in rows end.

    Parameters
    ----------
    t : array, shape (n,)
        Distances of the points from a line along the edge, outward [m].
    gaps : array, shape (m,)
        Between points well inside [m].
    smear_prior : (float, float)
        Median [m] of how unsharp the edge is, and standard deviation of its logarithm.

    Notes
    -----
    The posterior over offset e and smear s.  A point was seen, Phi((e - t) / s); points that the last rows
    lack were not, Phi((t - e) / s); nor was the row after the last one, which follows at one of the gaps.
    The variance is at least that of the way from a random place to the next point, E[g³] / 3 E[g] less the
    square of the mean way E[g²] / 2 E[g]: g² / 12 for rows.  How sharp an edge is does not make it surer.
    """
    last = float(t.max())
    row_m = _row_m(gaps)
    in_row = row_m / float(gaps.mean())
    back = np.ceil((last - t) / row_m + 1e-9).astype(np.int64) - 1  # 0 within a row's gap of the last point
    held = np.bincount(np.maximum(back, 0), minlength=PARTIAL_ROWS)[:PARTIAL_ROWS]
    missing = np.maximum(in_row - held - SLACK * np.sqrt(in_row), 0.0)
    lacking_t = last - row_m * np.arange(PARTIAL_ROWS)

    longest = float(gaps.max())
    offsets = np.linspace(last - PARTIAL_ROWS * row_m, last + longest, N_OFFSETS)[:, None]
    smears = smear_prior[0] * np.exp(smear_prior[1] * np.linspace(-2.5, 2.5, N_SMEARS))[:, None, None]
    values, count = counted(t, SAME_M)
    next_gaps, often = counted(gaps, SAME_M)
    log_weight = log_ndtr((offsets - values) / smears) @ count
    log_weight += log_ndtr((lacking_t - offsets) / smears) @ missing
    log_weight += logsumexp(in_row * log_ndtr((last + next_gaps - offsets) / smears), b=often, axis=-1)
    log_weight -= 0.5 * (np.log(smears[..., 0] / smear_prior[0]) / smear_prior[1]) ** 2
    weight = np.exp(log_weight - log_weight.max()).sum(axis=0)
    weight /= weight.sum()
    mean = float(weight @ offsets[:, 0])
    waiting = float((gaps**3).mean() / (3 * gaps.mean())) - (row_m / 2) ** 2
    return mean, max(float(weight @ (offsets[:, 0] - mean) ** 2), waiting)


def _row_m(gaps: Array) -> float:
    """The gap that a random place lies in, on average."""
    return float((gaps**2).mean() / gaps.mean())


def counted(lengths: Array, bin_m: float) -> tuple[Array, Array]:
    """Lengths to the nearest multiple of a bin [m], and how often each is there."""
    values, count = np.unique(np.round(lengths / bin_m), return_counts=True)
    return values * bin_m, count.astype(np.float64)
