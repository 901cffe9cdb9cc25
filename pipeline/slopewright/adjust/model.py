"""The roof as one parameter vector: plane coefficients, boundary offsets, and what all of them share.

Everything that is reported is a function of this vector.  Functions take a batch of vectors, so that one
call gives all differences of a numerical Jacobian.  Metres; z up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry.planlines import crease_lines, meet
from ..scene import Array, Curve, Segmentation, Topology

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

    def __init__(self, segmentation: Segmentation, topology: Topology) -> None:
        planes = segmentation.planes
        self.n_planes = len(planes)
        self.n_boundaries = len(topology.boundaries)
        self.size = 3 * self.n_planes + 2 * self.n_boundaries + len(SHARED)
        self.reference = np.array([p.centroid[:2] for p in planes])  # (k, 2)
        self.topology = topology
        normal = np.array([p.normal for p in planes])
        self.start = np.zeros(self.size)
        self.start[: 3 * self.n_planes] = np.column_stack(
            [-normal[:, :2] / normal[:, 2:], [p.centroid[2] for p in planes]]
        ).ravel()
        self._pivot = np.array([b.point for b in topology.boundaries]).reshape(-1, 2)
        self._angle = np.array([b.angle_rad for b in topology.boundaries])
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

    def coefficients(self, vectors: Array) -> Array:
        """(a, b, c) of z = a x + b y + c for each plane, shape (b, k, 3)."""
        own = vectors[:, : 3 * self.n_planes].reshape(len(vectors), self.n_planes, 3)
        gradient = own[..., :2] + vectors[:, None, -2:]
        c = own[..., 2] - (gradient * self.reference).sum(axis=-1)
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
        offset = offset + vectors[:, -4:-3]
        return (
            np.concatenate([crease_normal, normal], axis=1),
            np.concatenate([crease_offset, offset], axis=1),
        )

    def shape(self, vectors: Array) -> Shape:
        """Vertices, corners, and how well they hold together."""
        coefficients = self.coefficients(vectors)
        normals, offsets = self._lines(vectors, coefficients)
        n, d = normals[:, self._meet], offsets[:, self._meet]
        weight = np.broadcast_to(self._weight, d.shape)
        xy = meet(n, d, weight, np.broadcast_to(self._home, (*d.shape[:2], 2)))
        misses = weight * (d - (n * xy[:, :, None, :]).sum(axis=-1))
        here = xy[:, self._corner_vertex]
        plane = coefficients[:, self._corner_plane]
        heights = (plane[..., :2] * here[:, :, None, :]).sum(axis=-1) + plane[..., 2]
        share = self._corner_weight / self._corner_weight.sum(axis=1, keepdims=True)
        z = (heights * share).sum(axis=-1)
        spread = (heights - z[..., None]) * self._corner_weight
        return Shape(xy=xy, z=z, spread=spread, misses=misses)

    def plan_areas(self, vectors: Array, shape: Shape) -> Array:
        """Plan area of each face, shape (b, f) [m²]."""
        columns = []
        for face in self.topology.faces:
            total = np.zeros(len(vectors))
            for loop in face.loops:
                ring = shape.xy[:, self._corner_vertex[list(loop)]]
                ring = ring - ring[:, :1]
                x, y = ring[..., 0], ring[..., 1]
                total += (x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1) / 2
            columns.append(total)
        return np.asarray(np.stack(columns, axis=1) * (1 + vectors[:, -3:-2]) ** 2)

    def lengths(self, vectors: Array, shape: Shape) -> Array:
        """Length of each edge, shape (b, e) [m]."""
        start = np.array([e.start for e in self.topology.edges])
        end = np.array([e.end for e in self.topology.edges])
        plan = shape.xy[:, self._corner_vertex[end]] - shape.xy[:, self._corner_vertex[start]]
        rise = shape.z[:, end] - shape.z[:, start]
        return np.asarray(np.sqrt((plan**2).sum(axis=-1) + rise**2) * (1 + vectors[:, -3:-2]))

    def slope_factors(self, vectors: Array) -> Array:
        """Sloped over plan area of each face, shape (b, f)."""
        planes = np.array([face.plane for face in self.topology.faces])
        gradient = self.gradients(vectors)[:, planes]
        return np.asarray(np.sqrt(1 + (gradient**2).sum(axis=-1)))

    def steps(self) -> Array:
        """Steps of the numerical Jacobian, shape (n,)."""
        step = np.full(self.size, SLOPE_STEP)
        step[2 : 3 * self.n_planes : 3] = LENGTH_STEP_M
        at = 3 * self.n_planes
        step[at : at + 2 * self.n_boundaries : 2] = LENGTH_STEP_M
        step[at + 1 : at + 2 * self.n_boundaries : 2] = TURN_STEP_RAD
        step[-4] = LENGTH_STEP_M
        return step


def differences(model: Model, vector: Array) -> tuple[Array, Array]:
    """Vectors one step to each side of `vector` in every parameter, shape (2 n, n), and the steps (n,)."""
    step = model.steps()
    ahead = vector + np.diag(step)
    behind = vector - np.diag(step)
    return np.concatenate([ahead, behind]), step


def jacobian(values: Array, step: Array) -> Array:
    """Central differences, shape (q, n), from values at `differences`, shape (2 n, q)."""
    n = len(step)
    return np.asarray(((values[:n] - values[n:]) / (2 * step[:, None])).T)
