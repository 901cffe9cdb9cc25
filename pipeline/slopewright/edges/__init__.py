"""Edges: how the planes meet and where they end, as one subdivision of the plan.

Candidate lines cut the plan into cells; one labelling gives each cell its plane; what separates unlike
labels are the edges.  Shared edges come out shared.  Metres; z up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from ..errors import NoRoofError, NotCertifiedError
from ..scene import (
    Array,
    Boundary,
    Curve,
    EdgeKind,
    Notice,
    RoofPoints,
    Segmentation,
    Topology,
    TracedEdge,
    TracedFace,
)
from .arrangement import Cells, cut, stations_after_extension
from .boundary import UNSEEN_SD_M, StepFit, Strip, fit_step, interior_density, strip_along
from .candidates import PlanLine, candidate_lines, closing_lines
from .classify import crease_kind, free_kind, wall_kind
from .evidence import Evidence, gather, without
from .labelling import absorb_small, fill_shadows, label_cells, votes
from .support import edge_support, face_support
from .trace import Graph, corners_at, loops_of, trace

__all__ = ["EdgesConfig", "run"]


TOLD_LOST = 0.03  # share of the roof's points in no face that the result tells


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgesConfig:
    """What can be set."""

    extend_m: float = 0.7  # lines go on past the points that speak for them
    reach_m: float = 6.0  # ... and to the next line, if one comes within this
    least_part_m2: float = 0.35  # smaller parts of a face join the neighbour
    least_lone_m2: float = 5.0  # smaller planes that meet no other plane are not faces
    least_lone_share: float = 0.02  # ... nor are those with less than this share of all planes' area
    least_labelled: float = 0.95  # share of a plane's points that lie in its face, else a corner leaks
    gain: float = 0.002  # share of the roof's points by which a further try must be better
    most_lost: float = 0.15  # share of the roof's points in no face that is refused


def run(points: RoofPoints, segmentation: Segmentation, config: EdgesConfig | None = None) -> Topology:
    """Trace the edges of the roof that the planes make.

    Parameters
    ----------
    points : RoofPoints
    segmentation : Segmentation
        Planes and the label of each of the points.
    config : EdgesConfig, optional

    Returns
    -------
    Topology

    Raises
    ------
    NoRoofError
        If no face can be closed.
    """
    config = config or EdgesConfig()
    evidence = gather(points, segmentation)
    lines = candidate_lines(evidence, segmentation)
    lone = _lone_planes(lines, segmentation, config)
    if lone:
        evidence = without(evidence, lone)
        lines = candidate_lines(evidence, segmentation)
    if len(lines) < 3:
        raise NoRoofError(f"roof {points.id}: no edges found, need a roof whose outline is in the cloud")
    cells, lines, labels, lost = _label(evidence, segmentation, lines, config)
    if lost > config.most_lost:
        raise NotCertifiedError(
            f"roof {points.id}: {100 * lost:.0f} % of its points lie in no face that could be closed,"
            " need a denser cloud or one with a clear outline"
        )
    graph = trace(cells, lines, labels, evidence)
    faces = _faces(graph, len(segmentation.planes), evidence)
    if not faces:
        raise NoRoofError(f"roof {points.id}: no face could be closed, need a denser or larger cloud")
    sight = _Sight.of(points, segmentation, faces, evidence)
    fits = _fit_boundaries(graph, faces, sight, evidence)
    return _assemble(graph, faces, fits, sight, evidence, lost)


def _lone_planes(lines: list[PlanLine], segmentation: Segmentation, config: EdgesConfig) -> list[int]:
    """Small planes that meet no other: tops of chimneys, shrubs, ledges of walls, not faces of the roof."""
    meeting = {k for line in lines if line.crease is not None for k in line.crease}
    area = [plane.area_m2 for plane in segmentation.planes]
    least = min(max(config.least_lone_m2, config.least_lone_share * sum(area)), 0.25 * max(area))
    return [k for k, plane in enumerate(segmentation.planes) if k not in meeting and plane.area_m2 < least]


def _label(
    evidence: Evidence, segmentation: Segmentation, lines: list[PlanLine], config: EdgesConfig
) -> tuple[Cells, list[PlanLine], npt.NDArray[np.int64], float]:
    """Cells, the lines that cut them, labels, and the share of the roof's points outside of all faces.

    Where a face leaks out through an open corner, again with longer lines and the box round its points.
    """
    extend = max(config.extend_m, 2 * evidence.spacing_m)
    roof = evidence.labels >= 0
    n_planes = len(evidence.coefficients)
    total = np.bincount(evidence.labels[roof], weights=evidence.weight[roof], minlength=n_planes)
    best: tuple[Cells, list[PlanLine], npt.NDArray[np.int64], float] | None = None
    for factor in (1.0, 1.0, 2.0, 50.0):
        cells = cut(lines, stations_after_extension(lines, extend * factor, config.reach_m * factor))
        planes, hidden, ground = votes(cells, evidence)
        labels = label_cells(cells, lines, planes, hidden, ground)
        labels = absorb_small(cells, labels, planes, config.least_part_m2)
        labels = fill_shadows(cells, labels, evidence.coefficients, ground)
        inside = np.array([planes[labels == k, k].sum() for k in range(n_planes)])
        lost = 1 - float(inside.sum()) / max(float(total.sum()), 1e-9)
        if best is None or lost < best[3] - config.gain:
            best = (cells, lines, labels, lost)
        leaking = np.flatnonzero(inside < config.least_labelled * total)
        if len(leaking) == 0:
            break
        if len(lines) and factor == 1.0:
            lines = lines + closing_lines(evidence, segmentation, [int(k) for k in leaking])
    assert best is not None
    return best


_Loop = tuple[tuple[int, ...], tuple[tuple[int, bool], ...]]  # vertices, and the chain that leaves each


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Face:
    plane: int
    loops: tuple[_Loop, ...]
    polygon: shapely.Polygon


def _faces(graph: Graph, n_planes: int, evidence: Evidence) -> list[_Face]:
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
                    faces.append(_Face(plane=k, loops=(loop, *(hole for hole, _ in mine)), polygon=largest))
    return faces


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sight:
    """All points of each plane in plan, at full density."""

    points: tuple[Array, ...]  # (n, 2) each
    density: tuple[float, ...]  # points per m² of plan
    spacing_m: float

    @staticmethod
    def of(points: RoofPoints, segmentation: Segmentation, faces: list[_Face], evidence: Evidence) -> _Sight:
        own, density = [], []
        spacing = segmentation.spacing_m
        for k in range(len(segmentation.planes)):
            xy = points.xyz[evidence.every_label == k, :2]
            polygons = [face.polygon for face in faces if face.plane == k]
            found = None
            if polygons:
                found = interior_density(xy, max(polygons, key=lambda p: float(p.area)), spacing)
            own.append(xy)
            density.append(found or 1 / spacing**2)
        return _Sight(points=tuple(own), density=tuple(density), spacing_m=spacing)


def _outward(graph: Graph, chain: int, forward: bool) -> Array:
    """Unit vector in plan from an edge out of the face that walks it."""
    c = graph.chains[chain]
    along = graph.vertices[c.end].xy - graph.vertices[c.start].xy
    along = along / max(float(np.hypot(*along)), 1e-12)
    out = np.array([along[1], -along[0]])  # the right-hand side of the walk
    return out if forward else -out


def _is_upper(graph: Graph, chain: int, plane: int, evidence: Evidence) -> bool:
    """Whether a face is free on a chain: nothing beyond, or something lower."""
    c = graph.chains[chain]
    other = c.right if c.left == plane else c.left
    if other < 0:
        return True
    middle = (graph.vertices[c.start].xy + graph.vertices[c.end].xy) / 2
    gap = evidence.coefficients[plane] - evidence.coefficients[other]
    return bool(gap[:2] @ middle + gap[2] > 0)


def _fit_boundaries(
    graph: Graph, faces: list[_Face], sight: _Sight, evidence: Evidence
) -> list[tuple[PlanLine, StepFit | None]]:
    """Fit every boundary line to the free faces that end on it."""
    strips: list[list[Strip]] = [[] for _ in graph.boundary_lines]
    oriented = list(graph.boundary_lines)
    turned: list[bool | None] = [None] * len(oriented)
    smear = 0.04 if sight.spacing_m >= 0.12 else 0.02
    for face in faces:
        for _, walk in face.loops:
            for chain, forward in walk:
                c = graph.chains[chain]
                b = c.curve.boundary
                if b is None or not _is_upper(graph, chain, face.plane, evidence):
                    continue
                line = oriented[b]
                outward = _outward(graph, chain, forward)
                flip = float(outward @ line.normal) < 0
                if turned[b] is None:
                    turned[b] = flip
                normal, offset = (-line.normal, -line.offset) if flip else (line.normal, line.offset)
                if flip != turned[b]:
                    continue  # two roofs back to back on one line: the first places it
                ends = [graph.vertices[v].xy for v in (c.start, c.end)]
                along = np.array([-normal[1], normal[0]])
                low, high = sorted(float(e @ along) for e in ends)
                strips[b].append(
                    strip_along(
                        sight.points[face.plane],
                        face.polygon,
                        (normal, offset),
                        (low, high),
                        density=sight.density[face.plane],
                        spacing_m=sight.spacing_m,
                    )
                )
    results: list[tuple[PlanLine, StepFit | None]] = []
    for b, line in enumerate(oriented):
        if turned[b]:
            line = PlanLine(
                normal=-line.normal,
                offset=-line.offset,
                span=(-line.span[1], -line.span[0]),
                owners=line.owners,
                crease=line.crease,
                support_m=line.support_m,
            )
        results.append((line, fit_step(strips[b], smear_prior_m=smear) if strips[b] else None))
    return results


def _boundary(line: PlanLine, fit: StepFit | None) -> Boundary:
    angle = float(np.arctan2(line.normal[1], line.normal[0]))
    if fit is None:
        middle = line.normal * line.offset + line.direction * (line.span[0] + line.span[1]) / 2
        return Boundary(
            point=middle,
            angle_rad=angle,
            covariance=np.diag([UNSEEN_SD_M**2, np.deg2rad(1.0) ** 2]),
            observed=0.0,
            inferred_from="the cut of its neighbours",
        )
    return Boundary(
        point=line.normal * (line.offset + fit.offset_m) + line.direction * fit.pivot_m,
        # e(s) = offset + turn s lies further out for larger s: the normal turns clockwise
        angle_rad=angle - fit.turn_rad,
        covariance=fit.covariance * np.array([[1.0, -1.0], [-1.0, 1.0]]),
        observed=fit.observed,
    )


def _assemble(
    graph: Graph,
    faces: list[_Face],
    fits: list[tuple[PlanLine, StepFit | None]],
    sight: _Sight,
    evidence: Evidence,
    lost: float,
) -> Topology:
    corners, index = corners_at(graph, evidence)
    gradient = evidence.coefficients[:, :2]
    edges: list[TracedEdge] = []
    traced_faces = []
    done: set[int] = set()
    spacing = sight.spacing_m
    for face in faces:
        loops = []
        k = face.plane
        for vertices, walk in face.loops:
            pieces = []
            for vertex, (chain, forward) in zip(vertices, walk, strict=True):
                c = graph.chains[chain]
                inward = -_outward(graph, chain, forward)
                bounds: tuple[int, ...] = (k,)
                if c.curve.planes is not None:
                    other = c.right if c.left == k else c.left
                    kind, bounds = crease_kind(gradient[k], gradient[other], inward), (k, other)
                elif _is_upper(graph, chain, k, evidence):
                    kind = free_kind(gradient[k], inward)
                else:
                    kind = wall_kind(gradient[k], inward)
                pieces.append(
                    _Piece(vertex=vertex, kind=kind, planes=bounds, curve=c.curve, inward=inward, chain=chain)
                )
            runs = _first_of_runs(pieces)
            loops.append(tuple(index[piece.vertex, k] for piece in runs))
            for piece, following in zip(runs, runs[1:] + runs[:1], strict=True):
                if piece.curve.planes is not None:
                    if piece.chain in done:
                        continue
                    done.add(piece.chain)
                start, end = index[piece.vertex, k], index[following.vertex, k]
                xy = [graph.vertices[corners[i].vertex].xy for i in (start, end)]
                support = [
                    edge_support(
                        sight.points[p], xy[0], xy[1], piece.inward if p == k else -piece.inward, spacing
                    )
                    for p in piece.planes
                ]
                unseen = piece.curve.boundary is not None and fits[piece.curve.boundary][1] is None
                edges.append(
                    TracedEdge(
                        kind=piece.kind,
                        start=start,
                        end=end,
                        planes=tuple(sorted(piece.planes)),
                        curve=piece.curve,
                        observed=0.0 if unseen else float(np.mean(support)),
                    )
                )
        traced_faces.append(
            TracedFace(
                plane=k,
                loops=tuple(loops),
                observed=face_support(sight.points[k], face.polygon, sight.spacing_m),
            )
        )
    notices = []
    present = {int(k) for k in np.unique(evidence.labels) if k >= 0}
    missing = present - {face.plane for face in faces}
    if missing:
        notices.append(
            Notice(
                code="plane_without_face",
                text=f"{len(missing)} fitted plane(s) found no place in the plan and were left out",
            )
        )
    if lost > TOLD_LOST:
        notices.append(
            Notice(
                code="points_outside",
                text=f"{100 * lost:.0f} % of the points on planes lie outside of every face;"
                " a part of the roof may be missing",
            )
        )
    return Topology(
        boundaries=tuple(_boundary(line, fit) for line, fit in fits),
        vertices=graph.vertices,
        corners=tuple(corners),
        edges=tuple(edges),
        faces=tuple(traced_faces),
        notices=tuple(notices),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Piece:
    """One chain of a face's loop, from `vertex` on."""

    vertex: int
    kind: EdgeKind
    planes: tuple[int, ...]
    curve: Curve
    inward: Array
    chain: int


def _first_of_runs(pieces: list[_Piece]) -> list[_Piece]:
    """First piece of every run of a loop that is one edge: one boundary, one kind, without a break."""
    starts = [
        piece
        for before, piece in zip(pieces[-1:] + pieces[:-1], pieces, strict=True)
        if piece.curve.boundary is None or before.curve != piece.curve or before.kind != piece.kind
    ]
    return starts if len(starts) >= 3 else pieces
