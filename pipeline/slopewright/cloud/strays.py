"""Points that lie far from all others: zeros and sensor errors, which would stretch any grid."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..scene import Array, Notice

TRIM = 0.5  # per cent of the points at each end of each axis that may be stray
FAR_M = 1_000.0  # beyond the trimmed extent by this and by the extent itself: not part of the scene
SAMPLE = 200_000  # points looked at for the extent


def trimmed_bounds(xyz: Array) -> tuple[Array, Array]:
    """Low and high corner, shape (3,) [m], between which all but the outermost points lie."""
    sample = xyz[:: max(1, len(xyz) // SAMPLE)]
    low, high = np.percentile(sample, [TRIM, 100 - TRIM], axis=0)
    return low, high


def near_points(xyz: Array) -> tuple[npt.NDArray[np.bool_] | None, tuple[Notice, ...]]:
    """Points not further than 1 km, or than the cloud is large, beyond all but 1 % of it.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Coordinates [m].

    Returns
    -------
    near : array, shape (n,), or None
        False for strays; None if there are none.
    notices : tuple of Notice
        One with their number, if there are any.
    """
    low, high = trimmed_bounds(xyz)
    margin = np.maximum(FAR_M, high - low)
    if (xyz.min(axis=0) >= low - margin).all() and (xyz.max(axis=0) <= high + margin).all():
        return None, ()
    near = np.ones(len(xyz), dtype=bool)
    for axis in range(3):
        near &= (xyz[:, axis] >= low[axis] - margin[axis]) & (xyz[:, axis] <= high[axis] + margin[axis])
    n_strays = int(np.count_nonzero(~near))
    text = f"{n_strays:,} points more than 1 km away from all others left out"
    return near, (Notice(code="strays_dropped", text=text),)
