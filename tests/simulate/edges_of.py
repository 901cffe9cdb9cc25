"""The edges between the faces of a plan, named by what lies on both sides.  Metres; z is up."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import shapely

from slopewright.scene import Array, EdgeKind

from .truth import TrueEdge
from .wings import SAME_M, Gradient

LEVEL = 1e-9  # rise over run of a level edge, but for rounding

Segment = tuple[tuple[float, float], tuple[float, float]]


def sides_of(cells: Sequence[shapely.Polygon]) -> dict[Segment, tuple[int, int]]:
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


def edges_of(
    cells: Sequence[shapely.Polygon],
    face_of_cell: Sequence[int],
    faces: Sequence[Gradient],
    *,
    level: float = LEVEL,
    same_m: float = SAME_M,
) -> tuple[TrueEdge, ...]:
    """Edges between cells of different faces; a step in height gives one to each of its two faces.

    Parameters
    ----------
    cells : sequence of polygons
        The plan, noded: neighbours share their segments exactly.
    face_of_cell : sequence of int
        Row of `faces`, -1 for none.
    level : float
        Rise over run along an edge up to which it is level.
    same_m : float
        Heights that differ by less are one height [m].
    """
    loose: dict[tuple[EdgeKind, tuple[int, ...]], list[tuple[Array, Array]]] = {}
    for (start, end), (left, right) in sides_of(cells).items():
        f = face_of_cell[left]
        g = face_of_cell[right] if right >= 0 else -1
        if f == g:
            continue
        p, q = np.array(start), np.array(end)
        for kind, owners in classify(p, q, f, g, faces, level=level, same_m=same_m):
            owner = faces[owners[0]]
            ends = [np.append(r, _height(owner, r)) for r in (p, q)]
            loose.setdefault((kind, owners), []).append((ends[0], ends[1]))
    return tuple(
        TrueEdge(kind=kind, start=start, end=end, planes=owners)
        for (kind, owners), segments in loose.items()
        for start, end in _joined(segments)
    )


def classify(
    p: Array,
    q: Array,
    f: int,
    g: int,
    faces: Sequence[Gradient],
    *,
    level: float = LEVEL,
    same_m: float = SAME_M,
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
        return EdgeKind.EAVE if abs(climb) < level and rise > -level else EdgeKind.RAKE

    def walled(face: int, inward: Array) -> EdgeKind:
        climb, _ = rates(face, inward)
        return EdgeKind.HEADWALL if abs(climb) < level else EdgeKind.SIDEWALL

    if f < 0 or g < 0:
        face, inward = (g, -into_left) if f < 0 else (f, into_left)
        return [(free(face, inward), (face,))]
    gap = [_height(faces[f], r) - _height(faces[g], r) for r in (p, q)]
    if max(abs(gap[0]), abs(gap[1])) > same_m:
        upper, lower, inward = (f, g, into_left) if sum(gap) > 0 else (g, f, -into_left)
        return [(free(upper, inward), (upper,)), (walled(lower, -inward), (lower,))]
    (climb, rise_f), (_, rise_g) = rates(f, into_left), rates(g, -into_left)
    if abs(climb) < level:
        if rise_f < 0 and rise_g < 0:
            kind = EdgeKind.RIDGE
        else:
            kind = EdgeKind.VALLEY if rise_f > 0 and rise_g > 0 else EdgeKind.PITCH_BREAK
    else:
        kind = EdgeKind.HIP if rise_f + rise_g < 0 else EdgeKind.VALLEY
    return [(kind, (min(f, g), max(f, g)))]


def _height(plane: Gradient, xy: Array) -> float:
    return float(plane[0] * xy[0] + plane[1] * xy[1] + plane[2])


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
