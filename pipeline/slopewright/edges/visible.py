"""Which points make up the roof as seen from above.  Metres; z up.

A partition of the plan has one surface over each spot: floors seen through windows, ledges of walls and
the strip of a lower roof under an eave do not belong to it.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from ..scene import Array, Labels, PlaneSegment

CLEARANCE_M = 0.7  # a surface this far below another one is under it
COVER_M2 = 4.0  # smaller planes cover nothing: they may be part of a tree
HIDDEN_SHARE = 0.5  # a plane with more of its points under others is no part of the roof
NARROW_M = 0.7  # ledges and parapet tops are narrower everywhere; a face that is shingled is not

UNDER = -2  # label of points that are not seen from above


def seen_from_above(
    xyz: Array, labels: Labels, planes: tuple[PlaneSegment, ...], coefficients: Array, spacing_m: float
) -> Labels:
    """Labels with `UNDER` for points beneath another plane, and for planes that are no roof faces.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        [m]
    labels : array, shape (n,)
        Plane of each point, -1 for none.
    planes : tuple of PlaneSegment
    coefficients : array, shape (k, 3)
        Of z = a x + b y + c.
    spacing_m : float
        Between points in plan [m].
    """
    cell_m = max(0.3, 1.5 * spacing_m)
    on = labels >= 0
    corner = xyz[on, :2].min(axis=0) - cell_m
    at = np.floor((xyz[:, :2] - corner) / cell_m).astype(np.int64)
    size = at[on].max(axis=0) + 2
    middle_x = corner[0] + cell_m * (np.arange(size[0]) + 0.5)
    middle_y = corner[1] + cell_m * (np.arange(size[1]) + 0.5)

    n_planes = len(planes)
    occupied = np.zeros((n_planes, *size), dtype=bool)
    occupied[labels[on], at[on, 0], at[on, 1]] = True
    covers = [k for k in range(n_planes) if planes[k].area_m2 >= COVER_M2]
    a, b, c = coefficients.T
    top = np.full(tuple(size), -np.inf)
    square = np.ones((3, 3), dtype=bool)
    for k in covers:
        z = a[k] * middle_x[:, None] + b[k] * middle_y[None, :] + c[k]
        closed = ndimage.binary_closing(occupied[k], structure=square)
        top = np.where(closed & (z > top), z, top)

    result = labels.copy()
    for k in range(n_planes):
        z = a[k] * middle_x[:, None] + b[k] * middle_y[None, :] + c[k]
        under = occupied[k] & (z < top - CLEARANCE_M)
        mine = labels == k
        if not mine.any():
            continue
        if under.sum() > HIDDEN_SHARE * occupied[k].sum() or _width_m(xyz[mine, :2], spacing_m) < NARROW_M:
            result[mine] = UNDER
        else:
            result[mine & under[np.clip(at[:, 0], 0, size[0] - 1), np.clip(at[:, 1], 0, size[1] - 1)]] = UNDER
    loose = (labels == -1) & (at >= 0).all(axis=1) & (at < size).all(axis=1)
    rows = np.flatnonzero(loose)
    result[rows[xyz[rows, 2] < top[at[rows, 0], at[rows, 1]] - CLEARANCE_M]] = UNDER
    return result


def _width_m(xy: Array, spacing_m: float) -> float:
    """Diameter of the largest circle in plan that these points fill."""
    cell_m = 1.3 * spacing_m
    at = np.floor((xy - xy.min(axis=0)) / cell_m).astype(np.int64) + 2
    filled = np.zeros(at.max(axis=0) + 3, dtype=bool)
    filled[at[:, 0], at[:, 1]] = True
    filled = ndimage.binary_closing(filled, structure=np.ones((3, 3), dtype=bool))
    radius = float(ndimage.distance_transform_edt(filled).max()) - 0.5
    return 2 * radius * cell_m
