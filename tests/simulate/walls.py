"""The walls under wings, as far as they can be seen from outside.  Metres; z is up."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import shapely

from slopewright.scene import Array

from .truth import TrueWall
from .wings import SAME_M, Wing

STEP_M = 1e-3  # how far outside a wall to look for what stands against it


def walls_of(wings: Sequence[Wing]) -> tuple[TrueWall, ...]:
    """Walls under the roofs, each cut where what stands outside it changes; buried parts left out."""
    walls: dict[tuple[float, ...], TrueWall] = {}
    for w, wing in enumerate(wings):
        others = [(v, shapely.Polygon(v.walls)) for k, v in enumerate(wings) if k != w and v.walls]
        for start, end in _segments(wing.walls):
            outward = np.array([end[1] - start[1], start[0] - end[0]]) / np.hypot(*(end - start))
            for p, q in _cut(start, end, [wing, *(v for v, _ in others)]):
                ends = np.stack([p, (p + q) / 2, q])
                outside = shapely.Point(ends[1] + STEP_M * outward)
                feet = [v.height(ends) for v, polygon in others if polygon.contains(outside)]
                foot, top = max(feet, key=lambda z: float(z[1]), default=None), wing.height(ends)
                if foot is not None and foot[1] > top[1] - SAME_M:
                    continue
                wall = TrueWall(
                    start=p,
                    end=q,
                    top_m=(float(top[0]), float(top[2])),
                    foot_m=None if foot is None else (float(foot[0]), float(foot[2])),
                )
                walls.setdefault(tuple(np.round([*p, *q, *wall.top_m], 6)), wall)  # two wings may share one
    return tuple(walls.values())


def _segments(ring: Sequence[tuple[float, float]]) -> list[tuple[Array, Array]]:
    points = [np.array(p, dtype=np.float64) for p in ring]
    return list(zip(points, points[1:] + points[:1], strict=True))


def _cut(start: Array, end: Array, wings: Sequence[Wing]) -> list[tuple[Array, Array]]:
    """Pieces of a wall along which every height is straight and every plan is entered or not."""
    stops = {0.0, 1.0}
    step = end - start
    planes = [plane for wing in wings for plane in wing.planes]
    for i, p in enumerate(planes):
        for q in planes[:i]:
            a, b, c = (u - v for u, v in zip(p, q, strict=True))
            slope = a * step[0] + b * step[1]
            if abs(slope) > 1e-9:
                stops.add(float(-(a * start[0] + b * start[1] + c) / slope))
    for wing in wings:
        for p2, q2 in _segments(wing.walls):
            normal = np.array([q2[1] - p2[1], p2[0] - q2[0]])
            slope = float(normal @ step)
            if abs(slope) > 1e-9:
                stops.add(float(normal @ (p2 - start)) / slope)
    ordered = sorted(t for t in stops if -1e-12 <= t <= 1 + 1e-12)
    return [
        (start + t * step, start + u * step)
        for t, u in itertools.pairwise(ordered)
        if (u - t) * np.hypot(*step) > 1e-6
    ]
