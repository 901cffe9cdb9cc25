"""The roof as one parameter vector: plane coefficients, boundary offsets, and what all of them share.

Everything that is reported is a function of this vector.  Functions take a batch of vectors, so that one
call gives all differences of a numerical Jacobian.  Metres; z up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry.planlines import crease_lines, meet
from ..scene import Array, Curve, PlaneSegment, Topology

SHARED = ("edge bleed", "scale", "tilt east", "tilt north")  # the last entries of the vector
SLOPE_STEP, LENGTH_STEP_M, TURN_STEP_RAD = 1e-5, 1e-4, 1e-5  # of the numerical Jacobian


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """Positions that a batch of b parameter vectors makes."""

    xy: Array  # (b, v, 2) plan vertices [m]
    z: Array  # (b, c) heights of corners, mean over the planes that meet there [m]
    spread: Array  # (b, c, p) height of each plane at its corner less the corner's, zero where none
    misses: Array  # (b, v, m) distance of each curve from its vertex, zero where none [m]


class Model:
    """What stays fixed: incidence and reference points.  What varies comes as `vectors`, shape (b, n)."""

    def __init__(self, planes: tuple[PlaneSegment, ...], topology: Topology) -> None:
        self.n_planes = len(planes)
        self.n_boundaries = len(topology.boundaries)
        self.size = 3 * self.n_planes + 2 * self.n_boundaries + len(SHARED)
        centroid = np.array([p.centroid for p in planes])
        self.reference = centroid[:, :2]  # (k, 2)
        self._from_pivot = centroid - centroid.mean(axis=0)  # a tilt turns the roof about its middle
        self.topology = topology
        normal = np.array([p.normal for p in planes])
        self.start = np.zeros(self.size)
        self.start[: 3 * self.n_planes] = np.column_stack(
            [-normal[:, :2] / normal[:, 2:], [p.centroid[2] for p in planes]]
        ).ravel()
        self._pivot = np.array([b.point for b in topology.boundaries]).reshape(-1, 2)
        self._angle = np.array([b.angle_rad for b in topology.boundaries])
        # what was not seen does not bleed
        self._bleeds = np.array([float(b.observed > 0) for b in topology.boundaries])
        curves = {curve for vertex in topology.vertices for curve in vertex.curves}
        creases = sorted(curve.planes for curve in curves if curve.planes is not None)
        edges = sorted(curve.boundary for curve in curves if curve.boundary is not None)
        self._crease = np.array(creases, dtype=np.int64).reshape(-1, 2)
        self._edge = np.array(edges, dtype=np.int64)
        row = {Curve(planes=pair): n for n, pair in enumerate(creases)}
        row.update({Curve(boundary=b): len(creases) + n for n, b in enumerate(edges)})
        most = max((len(v.curves) for v in topology.vertices), default=1)
        self._meet = np.zeros((len(topology.vertices), max(most, 1)), dtype=np.int64)
        self._weight = np.zeros(self._meet.shape)
        for v, vertex in enumerate(topology.vertices):
            for n, curve in enumerate(vertex.curves):
                self._meet[v, n] = row[curve]
                self._weight[v, n] = 1.0
        self._home = np.array([v.xy for v in topology.vertices])
        self._corner_vertex = np.array([c.vertex for c in topology.corners], dtype=np.int64)
        most = max(len(c.planes) for c in topology.corners)
        self._corner_plane = np.zeros((len(topology.corners), most), dtype=np.int64)
        self._corner_weight = np.zeros(self._corner_plane.shape)
        for n, corner in enumerate(topology.corners):
            self._corner_plane[n, : len(corner.planes)] = corner.planes
            self._corner_weight[n, : len(corner.planes)] = 1.0
        self._corner_share = self._corner_weight / self._corner_weight.sum(axis=1, keepdims=True)
        self.face_plane = np.array([face.plane for face in topology.faces], dtype=np.int64)
        sides = [
            (f, a, b)
            for f, face in enumerate(topology.faces)
            for loop in face.loops
            for a, b in zip(loop, loop[1:] + loop[:1], strict=True)
        ]
        self._side_face, start, end = np.array(sides, dtype=np.int64).T
        self._side_corner = start
        self._side_vertex = self._corner_vertex[np.stack([start, end])]
        self._first_side = np.searchsorted(self._side_face, np.arange(len(topology.faces)))
        first = self._side_vertex[0][self._first_side]
        self._face_vertex = first[self._side_face]  # one of the face's own, to count from
        self._edge_corner = (
            np.array([(e.start, e.end) for e in topology.edges], dtype=np.int64).reshape(-1, 2).T
        )

    def coefficients(self, vectors: Array) -> Array:
        """(a, b, c) of z = a x + b y + c for each plane, shape (b, k, 3).

        A tilt turns the planes about the middle of the roof; the sideways way of the boundaries, which is
        the tilt times the height above the middle (1 to 2 mm), is left out.
        """
        own = vectors[:, : 3 * self.n_planes].reshape(len(vectors), self.n_planes, 3)
        tilt = vectors[:, None, -2:]
        # n + w x n for the normal (-a, -b, 1) and the small rotation w that leans a level plane by the tilt
        upright = 1 - (own[..., :2] * tilt).sum(axis=-1, keepdims=True)
        gradient = (own[..., :2] + tilt) / upright
        sideways = -tilt * self._from_pivot[:, 2:]
        height = own[..., 2] + (tilt * self._from_pivot[:, :2]).sum(axis=-1)
        c = height - (gradient * (self.reference + sideways)).sum(axis=-1)
        return np.concatenate([gradient, c[..., None]], axis=-1)

    def gradients(self, vectors: Array) -> Array:
        """(dz/dx, dz/dy) of each plane, shape (b, k, 2)."""
        return self.coefficients(vectors)[..., :2]

    def _lines(self, vectors: Array, coefficients: Array) -> tuple[Array, Array]:
        """Normals and offsets of all curves, creases first."""
        first, second = self._crease[:, 0], self._crease[:, 1]
        crease_normal, crease_offset = crease_lines(coefficients[:, first], coefficients[:, second])
        at = 3 * self.n_planes
        own = vectors[:, at : at + 2 * self.n_boundaries].reshape(len(vectors), self.n_boundaries, 2)
        angle = self._angle + own[..., 1]
        normal = np.stack([np.cos(angle), np.sin(angle)], axis=-1)[:, self._edge]
        offset = (normal * self._pivot[self._edge]).sum(axis=-1) + own[:, self._edge, 0]
        offset = offset + vectors[:, -4:-3] * self._bleeds[self._edge]
        return (
            np.concatenate([crease_normal, normal], axis=1),
            np.concatenate([crease_offset, offset], axis=1),
        )

    def shape(self, vectors: Array) -> Shape:
        """Vertices, corners, and how well they hold together."""
        coefficients = self.coefficients(vectors)
        normals, offsets = self._lines(vectors, coefficients)
        n, d = normals[:, self._meet], offsets[:, self._meet]
        xy = meet(n, d, self._weight, self._home[None])
        misses = self._weight * (d - n[..., 0] * xy[..., None, 0] - n[..., 1] * xy[..., None, 1])
        here = xy[:, self._corner_vertex]
        plane = coefficients[:, self._corner_plane]
        heights = plane[..., 0] * here[..., None, 0] + plane[..., 1] * here[..., None, 1] + plane[..., 2]
        z = (heights * self._corner_share).sum(axis=-1)
        spread = (heights - z[..., None]) * self._corner_weight
        return Shape(xy=xy, z=z, spread=spread, misses=misses)

    def plan_areas(self, vectors: Array, shape: Shape) -> Array:
        """Plan area of each face, shape (b, f) [m²]."""
        start, end = shape.xy[:, self._side_vertex].transpose(1, 0, 2, 3) - shape.xy[:, self._face_vertex]
        twice = start[..., 0] * end[..., 1] - start[..., 1] * end[..., 0]
        total = np.add.reduceat(twice, self._first_side, axis=1) / 2
        return np.asarray(total * (1 + vectors[:, -3:-2]) ** 2)

    def lowest(self, shape: Shape) -> Array:
        """Height of the lowest corner of each face, shape (b, f) [m]."""
        return np.asarray(np.minimum.reduceat(shape.z[:, self._side_corner], self._first_side, axis=1))

    def lengths(self, vectors: Array, shape: Shape) -> Array:
        """Length of each edge, shape (b, e) [m]."""
        start, end = self._edge_corner
        plan = shape.xy[:, self._corner_vertex[end]] - shape.xy[:, self._corner_vertex[start]]
        rise = shape.z[:, end] - shape.z[:, start]
        return np.asarray(np.sqrt(plan[..., 0] ** 2 + plan[..., 1] ** 2 + rise**2) * (1 + vectors[:, -3:-2]))

    def turned(self, before: Array, after: Array) -> set[int]:
        """Rows of topology.vertices at the ends of edges that run the other way after than before."""
        shape = self.shape(np.stack([before, after]))
        start, end = self._corner_vertex[self._edge_corner]
        first, second = shape.xy[:, end] - shape.xy[:, start]
        round_ = (first * second).sum(axis=-1) < 0
        return {int(v) for v in np.concatenate([start[round_], end[round_]])}

    def beyond(self, vectors: Array, boundary: int, xy: tuple[float, float]) -> Array:
        """How far a boundary lies beyond a spot, along its normal, shape (b,) [m]."""
        at = 3 * self.n_planes + 2 * boundary
        angle = self._angle[boundary] + vectors[:, at + 1]
        away = self._pivot[boundary] - np.array(xy)
        bleed = vectors[:, -4] * self._bleeds[boundary]
        return np.asarray(np.cos(angle) * away[0] + np.sin(angle) * away[1] + vectors[:, at] + bleed)

    def steps(self) -> Array:
        """Steps of the numerical Jacobian, shape (n,)."""
        step = np.full(self.size, SLOPE_STEP)
        step[2 : 3 * self.n_planes : 3] = LENGTH_STEP_M
        at = 3 * self.n_planes
        step[at : at + 2 * self.n_boundaries : 2] = LENGTH_STEP_M
        step[at + 1 : at + 2 * self.n_boundaries : 2] = TURN_STEP_RAD
        step[-4] = LENGTH_STEP_M
        return step


def with_differences(model: Model, vector: Array) -> tuple[Array, Array]:
    """A vector, then vectors one step ahead and one behind it in every parameter, shape (1 + 2 n, n)."""
    step = model.steps()
    return np.concatenate([vector[None], vector + np.diag(step), vector - np.diag(step)]), step


def linearised(values: Array, step: Array) -> tuple[Array, Array]:
    """Values (q,) and central differences (q, n) of what was computed at `with_differences`."""
    n = len(step)
    return values[0], np.asarray(((values[1 : n + 1] - values[n + 1 :]) / (2 * step[:, None])).T)
