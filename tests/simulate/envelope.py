"""The upper envelope of wings: each a plan polygon under the lowest of a few planes.  Metres; z is up.

The plan is cut by every line where something changes (outlines, creases within a wing, crossings of
two wings) into cells; each cell belongs to the plane on top.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from slopewright.scene import Array

from .edges_of import edges_of, sides_of
from .noding import SLIVER_M2, Line, area_m2, cells_of, chord, clipped
from .truth import TruePlane, TrueRoof, downslope_azimuth
from .walls import walls_of
from .wings import SAME_M, Gradient, Wing

SAME_PLANE = 1e-9  # coefficients that differ by less are one plane


def build(kind: str, wings: Sequence[Wing]) -> TrueRoof:
    """The roof seen from above when wings are put together."""
    surfaces = _surfaces(wings)
    cells = cells_of(_lines(wings))
    tops, hidden = _labels(cells, wings, surfaces)
    groups = _connected(cells, tops)
    planes, face_of_cell = _faces(cells, tops, groups, hidden, surfaces)
    edges = edges_of(cells, face_of_cell, [surfaces[p.surface] for p in planes])
    return TrueRoof(kind=kind, planes=planes, edges=edges, walls=walls_of(wings))


def _surfaces(wings: Sequence[Wing]) -> list[Gradient]:
    """Distinct planes of all wings."""
    found: list[Gradient] = []
    for wing in wings:
        found += [plane for plane in wing.planes if _surface(plane, found) < 0]
    return found


def _surface(plane: Gradient, surfaces: Sequence[Gradient]) -> int:
    """Row of a plane among surfaces, -1 if it is not there."""
    for i, other in enumerate(surfaces):
        if max(abs(p - q) for p, q in zip(plane, other, strict=True)) < SAME_PLANE:
            return i
    return -1


def _lines(wings: Sequence[Wing]) -> list[Array]:
    """Segments of the plan at which something may change, each of shape (2, 2)."""
    pieces = [
        (w, plane, region)
        for w, wing in enumerate(wings)
        for plane in wing.planes
        if area_m2(region := _piece(wing, plane)) > SLIVER_M2
    ]
    rings = [region for _, _, region in pieces] + [np.array(wing.walls) for wing in wings if wing.walls]
    lines = [np.stack([p, q]) for ring in rings for p, q in zip(ring, np.roll(ring, -1, axis=0), strict=True)]
    for i, (w, p, region_p) in enumerate(pieces):
        for v, q, region_q in pieces[:i]:
            if w == v or _surface(p, [q]) == 0:
                continue
            both = region_p
            for start, end in zip(region_q, np.roll(region_q, -1, axis=0), strict=True):
                both = clipped(both, _left_of(start, end)) if len(both) else both
            cut = chord(both, _minus(p, q)) if len(both) else None
            lines += [] if cut is None else [cut]
    return [line for line in lines if np.hypot(*(line[1] - line[0])) > 1e-7]


def _piece(wing: Wing, plane: Gradient) -> Array:
    """Where in the wing's plan a plane is the lowest, shape (k, 2)."""
    region = np.array(wing.plan, dtype=np.float64)
    for other in wing.planes:
        if other != plane and len(region):
            region = clipped(region, _minus(other, plane))
    return region


def _minus(p: Gradient, q: Gradient) -> Line:
    return (p[0] - q[0], p[1] - q[1], p[2] - q[2])


def _left_of(start: Array, end: Array) -> Line:
    """The half-plane on the left of the way from start to end."""
    a, b = start[1] - end[1], end[0] - start[0]
    return (float(a), float(b), float(-a * start[0] - b * start[1]))


def _labels(
    cells: Sequence[shapely.Polygon], wings: Sequence[Wing], surfaces: Sequence[Gradient]
) -> tuple[list[int], list[list[int]]]:
    """Per cell: the surface on top (-1 for none), and surfaces that run on out of sight below it."""
    plans = [shapely.Polygon(wing.plan) for wing in wings]
    walls = [shapely.Polygon(wing.walls) for wing in wings]
    tops, hidden = [], []
    for cell in cells:
        inside = cell.representative_point()
        xy = np.array([inside.x, inside.y])
        here = sorted((wings[w].lowest(xy), w) for w in range(len(wings)) if plans[w].contains(inside))[::-1]
        stack = [(_surface(plane, surfaces), w) for (_, plane), w in here]
        tops.append(stack[0][0] if stack else -1)
        below = []
        for k, (surface, w) in enumerate(stack[1:], start=1):
            walled = any(walls[v].contains(inside) for _, v in stack[:k])
            if wings[w].runs_under and not walled and surface != tops[-1]:
                below.append(surface)
        hidden.append(below)
    return tops, hidden


def _connected(cells: Sequence[shapely.Polygon], tops: Sequence[int]) -> list[int]:
    """Number cells so that neighbours across an edge with one surface on top have one number."""
    group = list(range(len(cells)))
    sides = sides_of(cells)
    changed = True
    while changed:
        changed = False
        for left, right in sides.values():
            if left >= 0 and right >= 0 and tops[left] == tops[right] and group[left] != group[right]:
                group[left] = group[right] = min(group[left], group[right])
                changed = True
    return group


def _faces(
    cells: Sequence[shapely.Polygon],
    tops: Sequence[int],
    groups: Sequence[int],
    hidden: Sequence[Sequence[int]],
    surfaces: Sequence[Gradient],
) -> tuple[tuple[TruePlane, ...], list[int]]:
    """The faces, and for each cell the face it is part of (-1 for none)."""
    planes: list[TruePlane] = []
    face_of_cell = [-1] * len(cells)
    for group in dict.fromkeys(groups):
        members = [i for i in range(len(cells)) if groups[i] == group]
        surface = tops[members[0]]
        if surface < 0:
            continue
        for i in members:
            face_of_cell[i] = len(planes)
        polygon = orient(shapely.coverage_union_all([cells[i] for i in members]))
        a, b, c = surfaces[surface]
        slant = float(np.sqrt(1 + a * a + b * b))
        normal = np.array([-a, -b, 1.0]) / slant
        planes.append(
            TruePlane(
                normal=normal,
                offset=c / slant,
                outer=_lifted(polygon.exterior, surfaces[surface]),
                holes=tuple(_lifted(ring, surfaces[surface]) for ring in polygon.interiors),
                area_m2=float(polygon.area * slant),
                plan_area_m2=float(polygon.area),
                hidden_m2=_touching_m2(polygon, cells, hidden, surface) * slant,
                pitch_rad=float(np.arctan(np.hypot(a, b))),
                azimuth_rad=downslope_azimuth(normal),
                surface=surface,
            )
        )
    return tuple(planes), face_of_cell


def _touching_m2(
    face: shapely.Polygon, cells: Sequence[shapely.Polygon], hidden: Sequence[Sequence[int]], surface: int
) -> float:
    """Plan area of the hidden cells of a surface that go on from a face of it."""
    return sum(
        cell.area
        for cell, below in zip(cells, hidden, strict=True)
        if surface in below and face.distance(cell) < SAME_M and face.intersection(cell).length > SAME_M
    )


def _lifted(ring: shapely.LinearRing, plane: Gradient) -> Array:
    """Corners of a plan ring on a plane, those in the middle of a straight side left out."""
    xy = np.array(ring.coords)[:-1]
    before, after = np.roll(xy, 1, axis=0) - xy, np.roll(xy, -1, axis=0) - xy
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    xy = xy[np.abs(cross) > 1e-7 * np.hypot(*before.T) * np.hypot(*after.T)]
    return np.column_stack([xy, plane[0] * xy[:, 0] + plane[1] * xy[:, 1] + plane[2]])
