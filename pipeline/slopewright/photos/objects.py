"""Things that stand on a roof, from what rises above its planes: chimneys, vents, pipes, skylights.

Metres; z up.  What is lower than a few pixels, or lies flush, is not found: counts made on site outrank.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
import shapely

from ..roof import Plane, Roof, RoofObject
from ..scene import Array, EdgeKind, RoofPoints

CELL_M = 0.05  # of the plan, in which what rises is put together
LEAST_HEIGHT_M, HEIGHT_NOISES = 0.06, 5.0  # above the plane, and at least so many times its residuals
MOST_HEIGHT_M = 4.0
INSET_M = 0.15  # from the outline of a face: gutters, caps, points of its neighbours
WALL_M = 0.4  # from a wall's foot: its own points
LEAST_CELLS = 6
MOST_AREA_M2 = 4.0  # more is a tree over the roof, or a part of the roof that has no plane
LEAST_FILLED = 0.45  # of the box round it: else it is a branch or a rope
WALLS = (EdgeKind.SIDEWALL, EdgeKind.HEADWALL, EdgeKind.PARAPET)
# Sizes by which things are told apart, common practice: flues of masonry are from 0.4 m wide and stand two
# feet over the roof near them; roof vents are under a foot high; boots of pipes are 2 to 8 inches wide.
CHIMNEY_HEIGHT_M, CHIMNEY_SIDE_M = 0.5, 0.3
VENT_HEIGHT_M, VENT_SIDES_M = 0.6, (0.15, 1.2)
PIPE_SIDE_M, PIPE_HEIGHT_M = 0.28, 0.15
SKYLIGHT_SIDE_M, SKYLIGHT_HEIGHT_M, SKYLIGHT_FLAT_M = 0.45, 0.25, 0.03
CLOSE = 0.25  # of a size's limit: nearer to it the kind is less sure
FEW_CELLS = 8.0  # with so many cells half of the confidence is there
SURE = 0.5  # less: its kind is not told


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundObject:
    """A thing on the roof, and how sure its kind is."""

    thing: RoofObject
    confidence: float  # 0..1, own judgement of size and number of points: no probability
    height_m: float  # of its top above the plane, upright


def run(points: RoofPoints, roof: Roof) -> tuple[FoundObject, ...]:
    """Find what stands on the roof's planes.

    Parameters
    ----------
    points : RoofPoints
        Of a dense cloud; those on no plane are what is looked at.
    roof : Roof

    Returns
    -------
    tuple of FoundObject
        Ids o1, o2, ... by plane and position; `unknown` where size does not tell the kind.
    """
    found: list[tuple[str, float, str, tuple[float, float, float], tuple[float, float], float]] = []
    for plane in roof.planes:
        found += [(plane.id, *made) for made in _on_plane(points.xyz, roof, plane)]
    return tuple(
        FoundObject(
            thing=RoofObject(
                id=f"o{n + 1}",
                kind=kind if confidence >= SURE else "unknown",
                plane=name,
                position=position,
                size=size,
            ),
            confidence=confidence,
            height_m=height_m,
        )
        for n, (name, confidence, kind, position, size, height_m) in enumerate(found)
    )


def _on_plane(
    xyz: Array, roof: Roof, plane: Plane
) -> list[tuple[float, str, tuple[float, float, float], tuple[float, float], float]]:
    """Confidence, kind, position, size and height of what stands on one plane."""
    ground = _open_part(roof, plane)
    if ground.is_empty:
        return []
    height = (plane.offset - xyz[:, :2] @ plane.normal[:2]) / plane.normal[2]
    above = xyz[:, 2] - height
    least = max(LEAST_HEIGHT_M, HEIGHT_NOISES * plane.residual_rms_m) / plane.normal[2]
    rises = (above > least) & (above < MOST_HEIGHT_M)
    rises[rises] = shapely.contains_xy(ground, xyz[rises, 0], xyz[rises, 1])
    if np.count_nonzero(rises) < LEAST_CELLS:
        return []
    # Axes along the contour and up the slope, in plan: what is square on a roof is square to its eave.
    up = -plane.normal[:2]
    up = up / np.hypot(*up) if np.hypot(*up) > 0.05 else np.array([0.0, 1.0])
    axes = np.array([[up[1], -up[0]], up])
    uv = xyz[rises, :2] @ axes.T
    low = uv.min(axis=0) - CELL_M
    cell = np.floor((uv - low) / CELL_M).astype(int)
    mask = np.zeros(cell.max(axis=0) + 2, np.uint8)
    mask[cell[:, 0], cell[:, 1]] = 1
    joined = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    _, labels = cv2.connectedComponents(joined, connectivity=8)
    label = labels[cell[:, 0], cell[:, 1]]
    made = []
    for k in range(1, int(labels.max()) + 1):
        own = label == k
        cells = np.unique(cell[own], axis=0)
        if len(cells) < LEAST_CELLS or len(cells) * CELL_M**2 > MOST_AREA_M2:
            continue
        first, last = np.percentile(uv[own], [2.0, 98.0], axis=0)
        size = last - first + CELL_M / 2
        if len(cells) * CELL_M**2 < LEAST_FILLED * float(size.prod()):
            continue
        tall = above[rises][own]
        top = float(np.percentile(tall, 95))
        kind, margin = _kind(size, top, tall * plane.normal[2])
        xy = axes.T @ ((first + last) / 2)
        z = float((plane.offset - xy @ plane.normal[:2]) / plane.normal[2])
        confidence = margin * len(cells) / (len(cells) + FEW_CELLS)
        position = (float(xy[0]), float(xy[1]), z)
        made.append((round(confidence, 2), kind, position, (float(size[0]), float(size[1])), top))
    return sorted(made, key=lambda thing: thing[2])


def _open_part(roof: Roof, plane: Plane) -> shapely.Geometry:
    """A face in plan without its rim and the feet of walls."""
    rings = [roof.ring(loop)[:, :2] for loop in plane.loops]
    part = shapely.make_valid(shapely.Polygon(rings[0], rings[1:])).buffer(-INSET_M)
    for edge in roof.edges:
        if plane.id in edge.planes and edge.kind in WALLS:
            part = part.difference(
                shapely.LineString(roof.vertices[[edge.start, edge.end], :2]).buffer(WALL_M)
            )
    return part


def _kind(size: Array, top_m: float, heights_m: npt.NDArray[np.float64]) -> tuple[str, float]:
    """What a thing of this size is, and from 0.5 to 1 how far inside of the limits it lies."""
    short, long = float(size.min()), float(size.max())
    flat = float(np.subtract(*np.percentile(heights_m, [84, 16]))) / 2
    if short >= SKYLIGHT_SIDE_M and top_m <= SKYLIGHT_HEIGHT_M and flat <= SKYLIGHT_FLAT_M:
        return "skylight", _margin(short / SKYLIGHT_SIDE_M, SKYLIGHT_HEIGHT_M / top_m)
    if top_m >= CHIMNEY_HEIGHT_M and short >= CHIMNEY_SIDE_M:
        return "chimney", _margin(top_m / CHIMNEY_HEIGHT_M, short / CHIMNEY_SIDE_M)
    if long <= PIPE_SIDE_M and top_m >= max(PIPE_HEIGHT_M, long):
        return "pipe", _margin(PIPE_SIDE_M / long, top_m / max(PIPE_HEIGHT_M, long))
    if top_m <= VENT_HEIGHT_M and short >= VENT_SIDES_M[0] and long <= VENT_SIDES_M[1]:
        return "vent", _margin(VENT_HEIGHT_M / top_m, short / VENT_SIDES_M[0], VENT_SIDES_M[1] / long)
    return "unknown", 0.5


def _margin(*ratios: float) -> float:
    """One where all sizes are well inside of their limits, a half where one is at its limit."""
    return 0.5 + 0.5 * min(1.0, min((ratio - 1.0) / CLOSE for ratio in ratios))
