"""Whether faces are flat and at one level: a bent scene, strips that do not fit, things laid on.  Metres."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import shapely

from ..roof import Plane, Roof
from ..scene import Array, Notice, RoofPoints, Segmentation
from .face import over_plane

LEAST_FACE_M2 = 10.0  # smaller faces do not show how they bend
BEND_M = 0.03  # bow of a face over half its length that is told ...
BEND_SIGMAS = 4.0  # ... if it is so many times its own uncertainty
BLOCK_M = 0.8  # points of a block of this side, or of four spacings, err together
PARALLEL_RAD = np.radians(3.0)
STEP_M = (0.06, 0.4)  # parallel faces that touch with such a step: panels, or a strip that does not fit
TOUCH_M = 0.5


def unevenness(
    points: RoofPoints, segmentation: Segmentation, roof: Roof, plans: list[shapely.Geometry]
) -> tuple[Notice, ...]:
    """Tell faces that bow, and faces that lie parallel to a neighbour a little higher.

    Returns
    -------
    tuple of Notice
        "bent" and "parallel_step".
    """
    found = []
    bows = {
        plane.id: bow
        for plane, plan in zip(roof.planes, plans, strict=True)
        if (bow := _bow(plane, plan, points, segmentation))
    }
    if bows:
        worst = max(bows.values())
        found.append(
            Notice(
                code="bent",
                text=f"faces bow by up to {100 * worst:.0f} cm: their pitch is a mean over the face",
                about=tuple(bows),
            )
        )
    steps = _steps(roof, plans)
    if steps:
        named = ", ".join(f"{a} over {b} by {100 * step:.0f} cm" for a, b, step in steps)
        found.append(
            Notice(
                code="parallel_step",
                text=f"parallel faces with a small step between them: {named}; panels, a second roofing,"
                " or parts of the cloud that do not fit",
                about=tuple(dict.fromkeys(name for a, b, _ in steps for name in (a, b))),
            )
        )
    return tuple(found)


def _bow(plane: Plane, plan: shapely.Geometry, points: RoofPoints, segmentation: Segmentation) -> float:
    """Height of the arch over a face, along the way it bends most [m]; 0 where that may be chance."""
    if plane.area.value < LEAST_FACE_M2:
        return 0.0
    over_m = over_plane(plane, points.xyz) * plane.normal[2]
    inner = plan.buffer(-0.2)
    near = np.flatnonzero(np.abs(over_m) < max(0.5, 4 * segmentation.noise_m))
    near = near[shapely.contains_xy(inner, *points.xyz[near, :2].T)]
    on = near[np.abs(over_m[near]) < 4 * max(segmentation.noise_m, _spread(over_m[near]))]
    if len(on) < 60:
        return 0.0
    xy = points.xyz[on, :2] - points.xyz[on, :2].mean(axis=0)
    # means of blocks: points that err together count once
    side_m = max(BLOCK_M, 4 * segmentation.spacing_m)
    index = np.floor((xy - xy.min(axis=0)) / side_m).astype(np.int64)
    _, block, count = np.unique(
        index[:, 0] * (index[:, 1].max() + 1) + index[:, 1], return_inverse=True, return_counts=True
    )
    full = count >= 0.4 * np.median(count)
    if full.sum() < 12:
        return 0.0
    x, y, residual = (
        np.bincount(block, weights=w)[full] / count[full] for w in (xy[:, 0], xy[:, 1], over_m[on])
    )
    flat = np.column_stack([np.ones(len(x)), x, y])
    bent = np.column_stack([flat, 0.5 * x * x, x * y, 0.5 * y * y])
    fit, *_ = np.linalg.lstsq(bent, residual, rcond=None)
    left = residual - bent @ fit
    variance = float(left @ left) / (len(x) - 6)
    covariance = variance * np.linalg.pinv(bent.T @ bent)
    curvature, turn = np.linalg.eigh(np.array([[fit[3], fit[4]], [fit[4], fit[5]]]))
    worst = 0.0
    for k in (0, 1):
        ux, uy = turn[:, k]
        half_m = float(np.ptp(np.column_stack([x, y]) @ turn[:, k])) / 2
        weights = np.array([0, 0, 0, ux * ux, 2 * ux * uy, uy * uy])
        sd = float(np.sqrt(weights @ covariance @ weights))
        bow, sd = abs(curvature[k]) * half_m**2 / 2, sd * half_m**2 / 2
        if bow > BEND_M and bow > BEND_SIGMAS * sd:
            worst = max(worst, bow)
    return worst


def _spread(values: Array) -> float:
    """A standard deviation that a few strays do not move."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values)))) if len(values) else 0.0


def _steps(roof: Roof, plans: list[shapely.Geometry]) -> list[tuple[str, str, float]]:
    """Pairs of parallel faces that touch in plan: the upper one, the lower one, and the step [m]."""
    found = []
    for (one, a), (other, b) in combinations(zip(roof.planes, plans, strict=True), 2):
        if float(one.normal @ other.normal) < np.cos(PARALLEL_RAD) or a.distance(b) > TOUCH_M:
            continue
        shared = shapely.intersection(a.buffer(TOUCH_M), b.buffer(TOUCH_M))
        at = np.array([[*shared.representative_point().coords[0], 0.0]])
        step = float(over_plane(other, at)[0] - over_plane(one, at)[0]) * float(one.normal[2])
        if STEP_M[0] <= abs(step) <= STEP_M[1]:
            upper, lower = (one, other) if step > 0 else (other, one)
            found.append((upper.id, lower.id, abs(step)))
    return found
