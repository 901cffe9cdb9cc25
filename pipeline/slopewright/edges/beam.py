"""What a beam wider than a point makes of an edge, taken back by the pulses that straddle it.  Metres.

A pulse on an edge is seen on the roof as long as the roof's share of its energy is enough for a return, and
on what lies below as long as the rest is.  For a beam that is symmetric across the edge and one threshold,
roof returns end as far outside the edge as those of them that are the pulse's only return end inside.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .boundary import StepFit, fit_step
from .strip import Strip


def fit_edge(strips: list[Strip], *, smear_prior_m: float) -> StepFit | None:
    """Fit one edge: half way between where all returns end and where single returns do.

    Parameters
    ----------
    strips : list of Strip
        All measured from the same line.
    smear_prior_m : float
        How unsharp edges of this kind of cloud are: standard deviation [m].

    Returns
    -------
    StepFit or None
        None when no chunk of the edge is seen.

    Notes
    -----
    The two steps are placed by the same points where no pulse lies between them, and by others where some
    do: with n such pulses their errors are taken to be correlated by 1 / (1 + n).
    """
    outer = fit_step(strips, smear_prior_m=smear_prior_m)
    n_between = sum(int(np.count_nonzero(strip.straddles)) for strip in strips)
    if outer is None or n_between == 0:
        return outer
    inner = fit_step([strip.without_straddling() for strip in strips], smear_prior_m=smear_prior_m)
    if inner is None:
        return outer
    shared = 1 / (1 + n_between)
    return replace(
        outer,
        offset_m=(outer.offset_m + inner.offset_m) / 2,
        turn_rad=(outer.turn_rad + inner.turn_rad) / 2,
        covariance=(outer.covariance + inner.covariance) / 4 * (1 + shared),
    )
