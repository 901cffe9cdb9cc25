"""The building below a roof: its planes, upright walls under their free edges and steps, and the ground.

Metres, local coordinates, z up.  Walls stand under the edges: where a real wall is, behind the overhang, was
not measured.  Rings run counter-clockwise seen from outside.
"""

from __future__ import annotations

from collections import Counter, defaultdict

import numpy as np
import shapely

from ..roof import Roof, RoofBody, Surface
from ..scene import Array
from .noding import SAME_M, Plan, Stop, node_plan

LEAST_WALL_M = 0.1  # an eave that is not by this above the ground tells that the ground's level is wrong

_Side = tuple[int, int]  # nodes


def roof_body(roof: Roof) -> RoofBody:
    """The body of a roof.

    Parameters
    ----------
    roof : Roof

    Returns
    -------
    RoofBody
        Surfaces in the order of `roof.planes`, then walls, then the ground if its level is known.  It is
        closed where the planes cover each spot of the plan once and the ground was seen.
    """
    plan = node_plan(roof)
    ground_z = roof.frame.ground_z_m
    if ground_z is not None and float(roof.vertices[:, 2].min()) < ground_z + LEAST_WALL_M:
        ground_z = None
    corners = _Corners(plan, ground_z)
    surfaces = [
        Surface(kind="roof", plane=plane.id, rings=tuple(corners.rows(ring) for ring in rings))
        for plane, rings in zip(roof.planes, plan.loops, strict=True)
    ]
    sides = _sides(plan)
    free: list[_Side] = []
    for (a, b), heights in sides.items():
        beside = sides.get((b, a))
        if beside is not None:
            if a < b:
                surfaces += _step(corners, a, b, heights[0], (beside[0][1], beside[0][0]))
        elif ground_z is not None:
            free.append((a, b))
            surfaces += corners.wall(a, b, (ground_z, ground_z), heights[0])
    if ground_z is not None:
        surfaces += [
            Surface(kind="ground", plane=None, rings=tuple(corners.at(ring, ground_z) for ring in rings))
            for rings in _ground(free, plan.nodes)
        ]
    overlaid = any(len(heights) > 1 for heights in sides.values()) or _overlap(plan)
    vertices = corners.points()
    walls = [_strip(surface.rings[0], vertices) for surface in surfaces if surface.kind == "wall"]
    return RoofBody(
        vertices=vertices,
        surfaces=tuple(surfaces),
        wall_triangles=np.array([t for strip in walls for t in strip], dtype=np.int64).reshape(-1, 3),
        closed=not overlaid and _is_closed(surfaces),
    )


class _Corners:
    """Rows of `RoofBody.vertices`: one for each level at which something passes a node."""

    def __init__(self, plan: Plan, ground_z: float | None) -> None:
        self._nodes = plan.nodes
        self._levels: dict[int, list[float]] = defaultdict(list)
        self._row: dict[tuple[int, float], int] = {}
        stops = [stop for rings in plan.loops for ring in rings for stop in ring]
        for node, z in [(s.node, s.z) for s in stops] + [
            (s.node, ground_z) for s in stops if ground_z is not None
        ]:
            if self.level(node, z) is None:
                self._levels[node].append(z)
                self._row[node, z] = len(self._row)

    def level(self, node: int, z: float) -> float | None:
        """The level at a node that a height belongs to."""
        return next((known for known in self._levels[node] if abs(known - z) < SAME_M), None)

    def row(self, node: int, z: float) -> int:
        level = self.level(node, z)
        assert level is not None
        return self._row[node, level]

    def rows(self, ring: tuple[Stop, ...]) -> tuple[int, ...]:
        return tuple(self.row(stop.node, stop.z) for stop in ring)

    def at(self, ring: list[int], z: float) -> tuple[int, ...]:
        return tuple(self.row(node, z) for node in ring)

    def points(self) -> Array:
        return np.array([(*self._nodes[node], z) for node, z in self._row], dtype=np.float64)

    def wall(self, a: int, b: int, low: tuple[float, float], high: tuple[float, float]) -> list[Surface]:
        """The wall over a side, its outside to the right of a -> b; nothing where it has no height."""
        ring = [*self._post(b, low[1], high[1]), *reversed(self._post(a, low[0], high[0]))]
        return [Surface(kind="wall", plane=None, rings=(tuple(ring),))] if len(ring) > 2 else []

    def _post(self, node: int, low: float, high: float) -> list[int]:
        """The corners up one side of a wall, those of its neighbours too: walls meet corner to corner."""
        between = sorted(z for z in self._levels[node] if low - SAME_M < z < high + SAME_M)
        return [self._row[node, z] for z in between]


def _sides(plan: Plan) -> dict[_Side, list[tuple[float, float]]]:
    """Heights at both ends of every side of every face, by nodes; the face lies left of it."""
    sides: dict[_Side, list[tuple[float, float]]] = defaultdict(list)
    for rings in plan.loops:
        for ring in rings:
            for i, start in enumerate(ring):
                end = ring[(i + 1) % len(ring)]
                sides[start.node, end.node].append((start.z, end.z))
    return dict(sides)


def _step(
    corners: _Corners, a: int, b: int, left: tuple[float, float], right: tuple[float, float]
) -> list[Surface]:
    """The wall between two faces at a side a -> b, towards the lower of them; none at a crease."""
    over = (left[0] - right[0], left[1] - right[1])
    if max(map(abs, over)) < SAME_M:
        return []
    if sum(over) > 0:
        return corners.wall(a, b, right, left)
    return corners.wall(b, a, (left[1], left[0]), (right[1], right[0]))


def _strip(ring: tuple[int, ...], vertices: Array) -> list[tuple[int, int, int]]:
    """Triangles of a wall: between its two posts, up the first and down the second."""
    split = next(i for i in range(1, len(ring)) if np.any(vertices[ring[i], :2] != vertices[ring[0], :2]))
    first, second = list(ring[:split]), list(ring[split:][::-1])
    made = []
    while len(first) + len(second) > 2:
        if len(second) == 1 or len(first) > len(second):
            made.append((second[0], first[0], first[1]))
            del first[0]
        else:
            made.append((second[0], first[0], second[1]))
            del second[0]
    return made


def _ground(free: list[_Side], nodes: Array) -> list[list[list[int]]]:
    """Rings of nodes of each piece of ground, outer first, as seen from below.

    No ring where the free sides do not close: faces then lie over each other.
    """
    if Counter(a for a, _ in free) != Counter(b for _, b in free):
        return []
    onward: dict[int, list[int]] = defaultdict(list)
    for a, b in free:
        onward[a].append(b)
    outer: list[list[int]] = []
    holes: list[list[int]] = []
    while any(onward.values()):
        start = next(node for node, ends in onward.items() if ends)
        ring, previous, node = [start], start, onward[start].pop()
        while node != start:
            ring.append(node)
            previous, node = node, _next(previous, node, onward, nodes)
        (outer if _signed_area(nodes[ring]) > 0 else holes).append(ring)
    shapes = [shapely.Polygon(nodes[ring]) for ring in outer]
    pieces = [[ring[::-1]] for ring in outer]
    for hole in holes:
        spot = shapely.Polygon(nodes[hole]).representative_point()
        around = [i for i, shape in enumerate(shapes) if shape.covers(spot)]
        if around:
            pieces[min(around, key=lambda i: shapes[i].area)].append(hole[::-1])
    return pieces


def _next(previous: int, node: int, onward: dict[int, list[int]], nodes: Array) -> int:
    """The side that bounds the same piece: the first one clockwise from the way back."""
    back = np.arctan2(*(nodes[previous] - nodes[node])[::-1])

    def turn(end: int) -> float:
        return float((back - np.arctan2(*(nodes[end] - nodes[node])[::-1])) % (2 * np.pi)) or 2 * np.pi

    taken = min(onward[node], key=turn)
    onward[node].remove(taken)
    return taken


def _overlap(plan: Plan) -> bool:
    """Whether two faces cover one spot of the plan, by more than rounding."""
    faces = [
        shapely.make_valid(
            shapely.Polygon(
                plan.nodes[[stop.node for stop in rings[0]]],
                [plan.nodes[[stop.node for stop in ring]] for ring in rings[1:]],
            )
        )
        for rings in plan.loops
    ]
    covered = shapely.union_all(faces)
    return bool(sum(face.area for face in faces) - covered.area > SAME_M * covered.length)


def _is_closed(surfaces: list[Surface]) -> bool:
    """Whether every side of every surface is one of exactly one other, which runs along it the other way."""
    sides = Counter(
        (ring[i - 1], ring[i]) for surface in surfaces for ring in surface.rings for i in range(len(ring))
    )
    return all(n == 1 and sides.get((b, a)) == 1 for (a, b), n in sides.items())


def _signed_area(ring: Array) -> float:
    x, y = (ring - ring[0]).T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
