"""Convex pieces of a plan and the cells that lines cut it into.  Metres.

Nodes closer than SNAP_M are one node, and a line that passes a node closer than that goes through it:
so three lines that meet in a point but for rounding meet in one node, and cells share their edges exactly.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from slopewright.scene import Array

SNAP_M = 1e-7  # far above rounding (1e-14 m), far below any tolerance of a test
SLIVER_M2 = 1e-12  # a smaller area is rounding

Line = tuple[float, float, float]  # a x + b y + c


def clipped(polygon: Array, line: Line) -> Array:
    """The part of a convex polygon, shape (k, 2), where a x + b y + c >= 0."""
    side = polygon @ np.array(line[:2]) + line[2]
    corners = []
    for i, j in itertools.pairwise([*range(len(polygon)), 0]):
        if side[i] >= 0:
            corners.append(polygon[i])
        if side[i] * side[j] < 0:
            corners.append(polygon[i] + side[i] / (side[i] - side[j]) * (polygon[j] - polygon[i]))
    return np.array(corners).reshape(-1, 2)


def area_m2(polygon: Array) -> float:
    """Area of a counter-clockwise polygon, shape (k, 2)."""
    x, y = polygon.T if len(polygon) else (np.zeros(0), np.zeros(0))
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)


def chord(polygon: Array, line: Line) -> Array | None:
    """The part of a x + b y + c = 0 inside a convex polygon, shape (2, 2), None if it misses."""
    side = polygon @ np.array(line[:2]) + line[2]
    ends = [polygon[i] for i in np.flatnonzero(side == 0)]
    for i, j in itertools.pairwise([*range(len(polygon)), 0]):
        if side[i] * side[j] < 0:
            ends.append(polygon[i] + side[i] / (side[i] - side[j]) * (polygon[j] - polygon[i]))
    if len(ends) < 2:
        return None
    first = ends[0]
    last = max(ends, key=lambda p: float(np.hypot(*(p - first))))
    return np.stack([first, last]) if np.hypot(*(last - first)) > SNAP_M else None


def cells_of(segments: Sequence[Array]) -> list[shapely.Polygon]:
    """Cells between straight segments, each of shape (2, 2); neighbours share their corners exactly."""
    ends = np.array(segments)
    nodes = _merged(np.vstack([ends.reshape(-1, 2), _crossings(ends)]))
    pieces: set[tuple[int, int]] = set()
    for start, end in ends:
        length = np.hypot(*(end - start))
        along = (end - start) / length
        apart = nodes - start
        position = apart @ along
        near = np.abs(apart @ np.array([-along[1], along[0]])) < SNAP_M
        near &= (position > -SNAP_M) & (position < length + SNAP_M)
        rows = np.flatnonzero(near)
        on_line = rows[np.argsort(position[rows])]
        pieces |= {(min(i, j), max(i, j)) for i, j in itertools.pairwise(on_line.tolist())}
    lines = shapely.linestrings(nodes[np.array(sorted(pieces))])
    cells = shapely.polygonize(list(lines)).geoms
    return [orient(cell) for cell in cells if cell.area > SLIVER_M2]


def _crossings(ends: Array) -> Array:
    """Where segments cross or touch, shape (m, 2)."""
    start, step = ends[:, 0], ends[:, 1] - ends[:, 0]
    i, j = np.triu_indices(len(ends), k=1)
    cross = step[i, 0] * step[j, 1] - step[i, 1] * step[j, 0]
    size = np.hypot(*step.T)
    rows = np.abs(cross) > 1e-9 * size[i] * size[j]
    i, j, cross = i[rows], j[rows], cross[rows]
    apart = start[j] - start[i]
    t = (apart[:, 0] * step[j, 1] - apart[:, 1] * step[j, 0]) / cross
    u = (apart[:, 0] * step[i, 1] - apart[:, 1] * step[i, 0]) / cross
    slack_t, slack_u = SNAP_M / size[i], SNAP_M / size[j]
    hit = (t > -slack_t) & (t < 1 + slack_t) & (u > -slack_u) & (u < 1 + slack_u)
    return start[i[hit]] + t[hit, None] * step[i[hit]]


def _merged(points: Array) -> Array:
    """Points, of those closer than SNAP_M only the first."""
    apart = np.abs(points[:, None] - points[None]).max(axis=2) < SNAP_M
    return points[apart.argmax(axis=1) == np.arange(len(points))]
