"""Faces of the plan: closed walks of chains, and the points that each face's plane shows.  Metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from ..scene import Array, RoofPoints, Segmentation
from .evidence import Evidence
from .settle import Graph
from .strip import interior_density
from .trace import loops_of

_Loop = tuple[tuple[int, ...], tuple[tuple[int, bool], ...]]  # vertices, and the chain that leaves each


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Face:
    """One connected piece of a plane."""

    plane: int
    loops: tuple[_Loop, ...]
    polygon: shapely.Polygon


def faces_of(graph: Graph, n_planes: int) -> list[Face]:
    """All faces, by plane: outer loops with the holes inside them."""
    faces = []
    for k in range(n_planes):
        outer: list[tuple[_Loop, Array]] = []
        holes: list[tuple[_Loop, Array]] = []
        for vertices, chains in loops_of(graph, k):
            ring = np.array([graph.vertices[v].xy for v in vertices])
            x, y = (ring - ring[0]).T
            area = float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
            entry = ((tuple(vertices), tuple(chains)), ring)
            (outer if area > 0 else holes).append(entry)
        for loop, ring in outer:
            shell = shapely.Polygon(ring)
            mine = [
                (hole, hole_ring)
                for hole, hole_ring in holes
                if shapely.Polygon(hole_ring).representative_point().within(shell)
            ]
            polygon = shapely.make_valid(shapely.Polygon(ring, [r for _, r in mine]))
            if polygon.area > 0:
                largest = max(shapely.get_parts(polygon), key=lambda part: part.area)
                if isinstance(largest, shapely.Polygon):
                    faces.append(Face(plane=k, loops=(loop, *(hole for hole, _ in mine)), polygon=largest))
    return faces


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """All points of each plane in plan, at full density."""

    points: tuple[Array, ...]  # (n, 2) each
    straddles: tuple[npt.NDArray[np.bool_], ...]  # (n,) each: the pulse has a return from below, too
    density: tuple[float, ...]  # points per m² of plan
    spacing_m: float
    noise_m: float  # across a plane
    dense: bool

    @staticmethod
    def of(points: RoofPoints, segmentation: Segmentation, faces: list[Face], evidence: Evidence) -> Sight:
        """Points by plane, and the density inside the largest face of each."""
        below = np.zeros(len(points.xyz), dtype=bool)
        if points.n_returns is not None and points.return_number is not None:
            below = points.return_number < points.n_returns
        own, straddles, density = [], [], []
        spacing = segmentation.spacing_m
        for k in range(len(segmentation.planes)):
            mine = evidence.every_label == k
            xy = points.xyz[mine, :2]
            polygons = [face.polygon for face in faces if face.plane == k]
            found = None
            if polygons:
                found = interior_density(xy, max(polygons, key=lambda p: float(p.area)), spacing)
            own.append(xy)
            straddles.append(below[mine])
            density.append(found or 1 / spacing**2)
        return Sight(
            points=tuple(own),
            straddles=tuple(straddles),
            density=tuple(density),
            spacing_m=spacing,
            noise_m=segmentation.noise_m,
            dense=segmentation.dense,
        )


def outward_of(graph: Graph, chain: int, forward: bool) -> Array:
    """Unit vector in plan from an edge out of the face that walks it."""
    c = graph.chains[chain]
    along = graph.vertices[c.end].xy - graph.vertices[c.start].xy
    along = along / max(float(np.hypot(*along)), 1e-12)
    out = np.array([along[1], -along[0]])  # the right-hand side of the walk
    return out if forward else -out


def is_upper(graph: Graph, chain: int, plane: int, evidence: Evidence) -> bool:
    """Whether a face is free on a chain: nothing beyond, or something lower."""
    c = graph.chains[chain]
    other = c.right if c.left == plane else c.left
    if other < 0:
        return True
    middle = (graph.vertices[c.start].xy + graph.vertices[c.end].xy) / 2
    gap = evidence.coefficients[plane] - evidence.coefficients[other]
    return bool(gap[:2] @ middle + gap[2] > 0)
