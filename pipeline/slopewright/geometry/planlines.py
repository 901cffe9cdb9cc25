"""Straight lines of the plan and planes as height functions.  Metres; a line is {p : n . p = d}, |n| = 1."""

from __future__ import annotations

import numpy as np

from ..scene import Array

PARALLEL = 1e-9  # below this gradient difference [1] two planes have no crease


def height_coefficients(normal: Array, centroid: Array) -> Array:
    """Coefficients (a, b, c) of z = a x + b y + c for a plane that is not vertical.

    Parameters
    ----------
    normal : array, shape (..., 3)
        Unit normals, z component positive.
    centroid : array, shape (..., 3)
        A point on each plane [m].

    Returns
    -------
    array, shape (..., 3)
        a, b [1] and c [m].
    """
    gradient = -normal[..., :2] / normal[..., 2:3]
    c = centroid[..., 2] - (gradient * centroid[..., :2]).sum(axis=-1)
    return np.concatenate([gradient, c[..., None]], axis=-1)


def crease_lines(first: Array, second: Array) -> tuple[Array, Array]:
    """Plan lines in which pairs of planes meet.

    Parameters
    ----------
    first, second : array, shape (..., 3)
        Height coefficients of the planes.

    Returns
    -------
    normal : array, shape (..., 2)
        Unit normal of the line; it points to where the first plane is the higher one.  Zero where the
        planes are parallel.
    offset : array, shape (...)
        n . p on the line [m].
    """
    difference = first - second
    norm = np.hypot(difference[..., 0], difference[..., 1])
    safe = np.where(norm > PARALLEL, norm, 1.0)
    normal = np.where(norm[..., None] > PARALLEL, difference[..., :2] / safe[..., None], 0.0)
    return normal, -difference[..., 2] / safe


def meet(normals: Array, offsets: Array, weights: Array, start: Array, *, weak: float = 0.004) -> Array:
    """Least-squares meeting points of plan lines.

    Parameters
    ----------
    normals : array, shape (..., c, 2)
        Unit normals of the c lines that meet.
    offsets : array, shape (..., c)
        [m]
    weights : array, shape (..., c)
        Zero leaves a line out.
    start : array, shape (..., 2)
        Where to stay along directions that the lines do not determine [m].
    weak : float
        Share of the summed weight below which an eigenvalue of the normal matrix counts as undetermined;
        0.004 is reached by two lines that cross under some 7 degrees.

    Returns
    -------
    array, shape (..., 2)
        [m]
    """
    nx, ny = normals[..., 0], normals[..., 1]
    residual = (offsets - nx * start[..., None, 0] - ny * start[..., None, 1]) * weights
    wx, wy = weights * nx, weights * ny
    xx, xy, yy = (wx * nx).sum(axis=-1), (wx * ny).sum(axis=-1), (wy * ny).sum(axis=-1)
    right_x, right_y = (nx * residual).sum(axis=-1), (ny * residual).sum(axis=-1)
    half_trace = (xx + yy) / 2
    half_gap = np.hypot((xx - yy) / 2, xy)
    large, small = half_trace + half_gap, half_trace - half_gap
    angle = np.arctan2(2 * xy, xx - yy) / 2
    c, s = np.cos(angle), np.sin(angle)
    along1 = (c * right_x + s * right_y) / np.where(large > 0, large, 1.0)
    determined = small > weak * 2 * half_trace
    along2 = np.where(determined, (c * right_y - s * right_x) / np.where(determined, small, 1.0), 0.0)
    return np.stack(
        [start[..., 0] + along1 * c - along2 * s, start[..., 1] + along1 * s + along2 * c], axis=-1
    )
