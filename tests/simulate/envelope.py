"""The upper envelope of wings: each a plan polygon under the lowest of a few planes.  Metres; z is up.

The plan is cut by every line where something changes (outlines, creases within a wing, crossings of
two wings) into cells; each cell belongs to the plane on top.  All is noded on one grid, so faces share
their edges exactly.  Wings are best laid out along the axes and turned afterwards with `truth.move`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from slopewright.scene import Array, EdgeKind

from .truth import TrueEdge, TruePlane, TrueRoof, TrueWall, downslope_azimuth

GRID_M = 1e-9  # noding grid: far above rounding (4e-15 at 20 m), far below any tolerance of a test
SAME_M = 1e-6  # heights that differ by less are one height
REACH_M = 1e3  # half-planes are cut from a square this large

Gradient = tuple[float, float, float]  # z = a x + b y + c
Points = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wing:
    """A convex part of a building: over `plan`, the roof is the lowest of `planes`."""

    plan: tuple[tuple[float, float], ...]  # with overhang [m]
    walls: tuple[tuple[float, float], ...]  # outer wall line [m], empty for none
    planes: tuple[Gradient, ...]
    runs_under: bool = False  # its roof goes on under a higher overhang up to the wall

    def height(self, xy: Array) -> Array:
        """Height of the roof [m] at points, shape (..., 2)."""
        return np.min([a * xy[..., 0] + b * xy[..., 1] + c for a, b, c in self.planes], axis=0)


def build(kind: str, wings: Sequence[Wing]) -> TrueRoof:
    """The roof seen from above when wings are put together."""
    pieces = [
        (w, plane, region)
        for w, wing in enumerate(wings)
        for plane in wing.planes
        if (region := _piece(wing, plane)) is not None
    ]
    surfaces = _surfaces([plane for _, plane, _ in pieces])
    cells = _cells(wings, pieces)
    tops, hidden = _labels(cells, wings, pieces, surfaces)
    groups = _connected(cells, tops)
    planes, face_of_cell = _faces(cells, tops, groups, hidden, surfaces)
    edges = _edges(cells, face_of_cell, [surfaces[p.surface] for p in planes])
    return TrueRoof(kind=kind, planes=planes, edges=edges, walls=_walls(wings))


def _piece(wing: Wing, plane: Gradient) -> shapely.Polygon | None:
    """Where in the wing's plan a plane is the lowest."""
    region = shapely.Polygon(wing.plan)
    for other in wing.planes:
        if other != plane:
            region = region.intersection(_half_plane(plane, other), grid_size=GRID_M)
    return region if region.geom_type == "Polygon" and region.area > SAME_M else None


def _half_plane(low: Gradient, high: Gradient) -> shapely.Polygon:
    """The part of the plan where `low` is not above `high`."""
    a, b, c = (h - k for h, k in zip(high, low, strict=True))
    size = float(np.hypot(a, b))
    if size < 1e-12:
        return shapely.box(-REACH_M, -REACH_M, REACH_M, REACH_M) if c >= 0 else shapely.Polygon()
    normal = np.array([a, b]) / size
    along = np.array([-normal[1], normal[0]])
    foot = -c / size * normal
    far = foot + REACH_M * normal
    return shapely.Polygon(
        [foot - REACH_M * along, foot + REACH_M * along, far + REACH_M * along, far - REACH_M * along]
    )


def _surfaces(planes: Sequence[Gradient]) -> list[Gradient]:
    """Distinct planes."""
    found: list[Gradient] = []
    for plane in planes:
        if _surface(plane, found) is None:
            found.append(plane)
    return found


def _surface(plane: Gradient, surfaces: Sequence[Gradient]) -> int | None:
    for i, other in enumerate(surfaces):
        if np.allclose(plane, other, rtol=0, atol=1e-9):
            return i
    return None


Piece = tuple[int, Gradient, shapely.Polygon]


def _cells(wings: Sequence[Wing], pieces: Sequence[Piece]) -> list[shapely.Polygon]:
    """Cells of the plan in which one plane is on top throughout."""
    lines = [region.exterior for _, _, region in pieces]
    lines += [shapely.LinearRing(wing.walls) for wing in wings if wing.walls]
    for i, (w, p, region_p) in enumerate(pieces):
        for v, q, region_q in pieces[:i]:
            if w != v and _surface(p, [q]) is None:
                both = region_p.intersection(region_q, grid_size=GRID_M)
                cut = _half_plane(p, q).exterior.intersection(both) if both.area > 0 else None
                if cut is not None and cut.length > 0:
                    lines.append(cut)
    noded = shapely.union_all(lines, grid_size=GRID_M)
    polygons = shapely.polygonize(shapely.get_parts(noded)).geoms
    return [orient(cell) for cell in polygons if cell.area > SAME_M]


def _labels(
    cells: Sequence[shapely.Polygon],
    wings: Sequence[Wing],
    pieces: Sequence[Piece],
    surfaces: Sequence[Gradient],
) -> tuple[list[int], list[list[int]]]:
    """Per cell: the surface on top (-1 for none), and surfaces that run on out of sight below it."""
    walls = [shapely.Polygon(wing.walls) if wing.walls else None for wing in wings]
    tops, hidden = [], []
    for cell in cells:
        inside = cell.representative_point()
        xy = np.array([inside.x, inside.y])
        here = sorted(
            (
                (float(a * xy[0] + b * xy[1] + c), w, surface)
                for w, (a, b, c), region in pieces
                if region.contains(inside) and (surface := _surface((a, b, c), surfaces)) is not None
            ),
            reverse=True,
        )
        tops.append(here[0][2] if here else -1)
        below = []
        for k, (_, w, surface) in enumerate(here[1:], start=1):
            walled = any((wall := walls[v]) is not None and wall.contains(inside) for _, v, _ in here[:k])
            if wings[w].runs_under and not walled and surface != tops[-1]:
                below.append(surface)
        hidden.append(below)
    return tops, hidden


def _connected(cells: Sequence[shapely.Polygon], tops: Sequence[int]) -> list[int]:
    """Number cells so that neighbours across an edge with one surface on top have one number."""
    group = list(range(len(cells)))
    sides = _sides(cells)
    changed = True
    while changed:
        changed = False
        for left, right in sides.values():
            if left >= 0 and right >= 0 and tops[left] == tops[right] and group[left] != group[right]:
                group[left] = group[right] = min(group[left], group[right])
                changed = True
    return group


Segment = tuple[tuple[float, float], tuple[float, float]]


def _sides(cells: Sequence[shapely.Polygon]) -> dict[Segment, tuple[int, int]]:
    """For each segment of the noded plan, the cells on its left and right, -1 for none."""
    left: dict[Segment, int] = {}
    for i, cell in enumerate(cells):
        for ring in (cell.exterior, *cell.interiors):
            points = [(float(x), float(y)) for x, y in ring.coords]
            for start, end in itertools.pairwise(points):
                left[start, end] = i
    sides: dict[Segment, tuple[int, int]] = {}
    for (start, end), i in left.items():
        if (end, start) not in sides:
            sides[start, end] = (i, left.get((end, start), -1))
    return sides


def _faces(
    cells: Sequence[shapely.Polygon],
    tops: Sequence[int],
    groups: Sequence[int],
    hidden: Sequence[Sequence[int]],
    surfaces: Sequence[Gradient],
) -> tuple[tuple[TruePlane, ...], list[int]]:
    planes: list[TruePlane] = []
    face_of_cell = [-1] * len(cells)
    unseen = {
        s: sum(cell.area for cell, below in zip(cells, hidden, strict=True) if s in below)
        for s in range(len(surfaces))
    }
    for group in dict.fromkeys(groups):
        members = [i for i in range(len(cells)) if groups[i] == group]
        surface = tops[members[0]]
        if surface < 0:
            continue
        for i in members:
            face_of_cell[i] = len(planes)
        polygon = orient(shapely.union_all([cells[i] for i in members], grid_size=GRID_M))
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
                hidden_m2=float(unseen.pop(surface, 0.0) * slant),
                pitch_rad=float(np.arctan(np.hypot(a, b))),
                azimuth_rad=downslope_azimuth(normal),
                surface=surface,
            )
        )
    return tuple(planes), face_of_cell


def _lifted(ring: shapely.LinearRing, plane: Gradient) -> Array:
    """Corners of a plan ring on a plane, those in the middle of a straight side left out."""
    xy = np.array(ring.coords)[:-1]
    before, after = np.roll(xy, 1, axis=0) - xy, np.roll(xy, -1, axis=0) - xy
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    xy = xy[np.abs(cross) > 1e-7 * np.hypot(*before.T) * np.hypot(*after.T)]
    return np.column_stack([xy, plane[0] * xy[:, 0] + plane[1] * xy[:, 1] + plane[2]])


def _edges(
    cells: Sequence[shapely.Polygon], face_of_cell: Sequence[int], faces: Sequence[Gradient]
) -> tuple[TrueEdge, ...]:
    loose: dict[tuple[EdgeKind, tuple[int, ...], int], list[tuple[Array, Array]]] = {}
    for (start, end), (left, right) in _sides(cells).items():
        f = face_of_cell[left]
        g = face_of_cell[right] if right >= 0 else -1
        if f == g:
            continue
        p, q = np.array(start), np.array(end)
        for kind, owners in classify(p, q, f, g, faces):
            owner = faces[owners[0]]
            ends = [np.append(r, owner[0] * r[0] + owner[1] * r[1] + owner[2]) for r in (p, q)]
            loose.setdefault((kind, owners, 0), []).append((ends[0], ends[1]))
    return tuple(
        TrueEdge(kind=kind, start=start, end=end, planes=owners)
        for (kind, owners, _), segments in loose.items()
        for start, end in _joined(segments)
    )


def classify(
    p: Array, q: Array, f: int, g: int, faces: Sequence[Gradient]
) -> list[tuple[EdgeKind, tuple[int, ...]]]:
    """Kind and owners of the edge from p to q (plan) with face f on its left and g on its right (-1: none).

    A free edge is an eave where the roof falls towards it along the contour; every other free edge,
    the high edge of a shed included, is a rake: it takes drip edge and no starter course.
    """
    along = (q - p) / np.hypot(*(q - p))
    into_left = np.array([-along[1], along[0]])

    def rates(face: int, inward: Array) -> tuple[float, float]:
        gradient = np.array(faces[face][:2])
        return float(gradient @ along), float(gradient @ inward)

    def free(face: int, inward: Array) -> EdgeKind:
        climb, rise = rates(face, inward)
        return EdgeKind.EAVE if abs(climb) < 1e-9 and rise > -1e-9 else EdgeKind.RAKE

    def walled(face: int, inward: Array) -> EdgeKind:
        climb, _ = rates(face, inward)
        return EdgeKind.HEADWALL if abs(climb) < 1e-9 else EdgeKind.SIDEWALL

    if f < 0 or g < 0:
        face, inward = (g, -into_left) if f < 0 else (f, into_left)
        return [(free(face, inward), (face,))]
    gap = [faces[f][0] * r[0] + faces[f][1] * r[1] + faces[f][2] for r in (p, q)]
    gap = [
        z - (faces[g][0] * r[0] + faces[g][1] * r[1] + faces[g][2]) for z, r in zip(gap, (p, q), strict=True)
    ]
    if max(abs(gap[0]), abs(gap[1])) > SAME_M:
        upper, lower, inward = (f, g, into_left) if sum(gap) > 0 else (g, f, -into_left)
        return [(free(upper, inward), (upper,)), (walled(lower, -inward), (lower,))]
    (climb, rise_f), (_, rise_g) = rates(f, into_left), rates(g, -into_left)
    if abs(climb) < 1e-9:
        if rise_f < 0 and rise_g < 0:
            kind = EdgeKind.RIDGE
        else:
            kind = EdgeKind.VALLEY if rise_f > 0 and rise_g > 0 else EdgeKind.PITCH_BREAK
    else:
        kind = EdgeKind.HIP if rise_f + rise_g < 0 else EdgeKind.VALLEY
    return [(kind, (min(f, g), max(f, g)))]


def _joined(segments: list[tuple[Array, Array]]) -> list[tuple[Array, Array]]:
    """Segments in line that touch, made one."""
    todo, done = list(segments), []
    while todo:
        start, end = todo.pop()
        grown = True
        while grown:
            grown = False
            for i, (p, q) in enumerate(todo):
                for r, s in ((p, q), (q, p)):
                    if _continues(start, end, r, s):
                        end, grown = s, True
                    elif _continues(end, start, r, s):
                        start, grown = s, True
                    if grown:
                        break
                if grown:
                    del todo[i]
                    break
        done.append((start, end))
    return done


def _continues(start: Array, end: Array, p: Array, q: Array) -> bool:
    """Does p-q go on where start-end stops, straight?"""
    if np.abs(p - end).max() > 1e-7:
        return False
    u, v = end - start, q - p
    return bool(np.linalg.norm(np.cross(u, v)) < 1e-6 * np.linalg.norm(u) * np.linalg.norm(v) and u @ v > 0)


def _walls(wings: Sequence[Wing]) -> tuple[TrueWall, ...]:
    """Walls under the roofs, cut where a lower or a higher roof meets them; buried parts left out."""
    walls = []
    for w, wing in enumerate(wings):
        others = [(v, shapely.Polygon(v.walls)) for k, v in enumerate(wings) if k != w and v.walls]
        for start, end in _segments(wing.walls):
            for p, q in _cut(start, end, [wing, *(v for v, _ in others)]):
                middle = (p + q) / 2
                near = [v for v, polygon in others if polygon.distance(shapely.Point(middle)) < SAME_M]
                foot = max(
                    (v.height(np.stack([p, middle, q])) for v in near), key=lambda z: z[1], default=None
                )
                top = wing.height(np.stack([p, middle, q]))
                if foot is not None and foot[1] > top[1] - SAME_M:
                    continue
                walls.append(
                    TrueWall(
                        start=p,
                        end=q,
                        top_m=(float(top[0]), float(top[2])),
                        foot_m=None if foot is None else (float(foot[0]), float(foot[2])),
                    )
                )
    return tuple(walls)


def _segments(ring: Points) -> list[tuple[Array, Array]]:
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
