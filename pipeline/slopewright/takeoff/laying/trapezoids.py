"""Rings cut into trapezoids by level lines.  Metres; any plane coordinates x, y."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ...scene import Array

Index = npt.NDArray[np.int64]
LEAST_BAND_M = 1e-9  # level lines closer than this are one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trapezoids:
    """Between two neighbouring level lines each; sides are straight.  All arrays have shape (t,)."""

    low: Array  # y of the lower line
    high: Array
    left_low: Array  # x
    left_high: Array
    right_low: Array
    right_high: Array
    left_side: Index  # number of the ring's side
    right_side: Index
    lean: Array  # (sides,) dx/dy of every side


def trapezoids(rings: Sequence[Array], levels: Array) -> Trapezoids:
    """Cut the inside of rings (even-odd) at level lines and at every corner.

    Parameters
    ----------
    rings : sequence of arrays, shape (k, 2)
        Outer ring and holes, none crossing itself or another.
    levels : array, shape (n,)
        y of the lines.

    Returns
    -------
    Trapezoids
        From low to high, left to right.  Their areas add up to that of the rings.

    References
    ----------
    .. [1] F. P. Preparata, M. I. Shamos, Computational Geometry, 1985, 2.2: the slab method.
    """
    start = np.concatenate(rings)
    end = np.concatenate([np.roll(ring, -1, axis=0) for ring in rings])
    y_low, y_high = np.minimum(start[:, 1], end[:, 1]), np.maximum(start[:, 1], end[:, 1])
    rise = end[:, 1] - start[:, 1]
    steep = np.abs(rise) > LEAST_BAND_M
    lean = np.divide(end[:, 0] - start[:, 0], rise, out=np.zeros(len(rise)), where=steep)

    inside = levels[(levels > y_low.min()) & (levels < y_high.max())]
    y = np.unique(np.concatenate([inside, start[:, 1]]))
    y = y[np.concatenate([[True], np.diff(y) > LEAST_BAND_M])]
    middle = (y[1:] + y[:-1]) / 2
    band, side = np.nonzero(steep & (y_low < middle[:, None]) & (middle[:, None] < y_high))
    x_low = start[side, 0] + (y[band] - start[side, 1]) * lean[side]
    x_high = start[side, 0] + (y[band + 1] - start[side, 1]) * lean[side]
    order = np.lexsort((x_low + x_high, band))
    left, right = order[0::2], order[1::2]
    return Trapezoids(
        low=y[band[left]],
        high=y[band[left] + 1],
        left_low=x_low[left],
        left_high=x_high[left],
        right_low=np.maximum(x_low[right], x_low[left]),
        right_high=np.maximum(x_high[right], x_high[left]),
        left_side=side[left],
        right_side=side[right],
        lean=lean,
    )


def clipped_area(shapes: Trapezoids, rows: Index, x_low: Array, x_high: Array) -> Array:
    """Area of trapezoids between two upright lines each, exactly, shape (n,).

    Parameters
    ----------
    shapes : Trapezoids
    rows : array of int, shape (n,)
        Which trapezoids.
    x_low, x_high : array, shape (n,)
        The lines.
    """
    reach = x_high - x_low
    right = _mean_clipped(shapes.right_low[rows] - x_low, shapes.right_high[rows] - x_low, reach)
    left = _mean_clipped(shapes.left_low[rows] - x_low, shapes.left_high[rows] - x_low, reach)
    area: Array = (right - left) * (shapes.high[rows] - shapes.low[rows])
    return area


def _mean_clipped(a: Array, b: Array, reach: Array) -> Array:
    """Mean of x clipped to 0..reach as x goes from a to b."""

    def integral(x: Array) -> Array:
        inside = np.clip(x, 0.0, reach)
        whole: Array = inside**2 / 2 + reach * np.maximum(x - reach, 0.0)
        return whole

    moves = np.abs(b - a) > 1e-7 * reach  # below it the quotient loses its digits, and the mean is the middle
    middle = np.clip((a + b) / 2, 0.0, reach)
    return np.where(moves, (integral(b) - integral(a)) / np.where(moves, b - a, 1.0), middle)
