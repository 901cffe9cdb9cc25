"""Fit the outline, and mend the incidence where the fitted lines turn a chain of it round.  Metres.

Lines as they were cut are rough; where they are fitted, the side of a notch or a jog may come out the other
way round.  There is no such side, then: its ends are one vertex.  Or the fit is wrong.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from ..geometry.planlines import meet
from ..scene import Array, RoofPoints, Segmentation
from .boundary import StepFit
from .candidates import PlanLine
from .evidence import Evidence
from .faces import Face, Sight, faces_of
from .fit import fit_boundaries
from .settle import Graph, Lines, graph_of, shrink

LEAST_SIDE_M = 0.1  # a side that is shorter than this when it is fitted has turned as good as round
MOST_ROUNDS = 4  # of mending and fitting again; one is the rule

Fits = list[tuple[PlanLine, StepFit | None]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """The plan with its boundaries fitted."""

    graph: Graph
    faces: list[Face]
    sight: Sight
    fits: Fits


def fit_outline(graph: Graph, points: RoofPoints, segmentation: Segmentation, evidence: Evidence) -> Outline:
    """Fit all boundaries; shrink sides that turn round, and leave as cut what cannot be mended so.

    Parameters
    ----------
    graph : Graph
        As traced.
    points : RoofPoints
    segmentation : Segmentation
    evidence : Evidence

    Returns
    -------
    Outline
        Without faces if none is closed.
    """
    n_planes = len(segmentation.planes)
    for rounds in range(MOST_ROUNDS):
        faces = faces_of(graph, n_planes)
        sight = Sight.of(points, segmentation, faces, evidence)
        fits = fit_boundaries(graph, faces, sight, evidence)
        placed = _placed(graph, fits, evidence.coefficients)
        turned = _turned(graph, placed)
        if not turned or rounds == MOST_ROUNDS - 1:
            break
        mended = _without(graph, turned, evidence.coefficients)
        if _shown(faces_of(mended, n_planes)) != _shown(faces):
            break  # a face would go with them
        graph = mended
    return Outline(
        graph=graph, faces=faces, sight=sight, fits=_held(graph, faces, fits, evidence.coefficients)
    )


def _shown(faces: list[Face]) -> list[int]:
    return [face.plane for face in faces]


def fitted_line(line: PlanLine, fit: StepFit | None) -> PlanLine:
    """A boundary line where it was fitted; as cut where no point shows it."""
    if fit is None:
        return line
    c, s = np.cos(fit.turn_rad), np.sin(fit.turn_rad)
    # e(s) = offset + turn s lies further out for larger s: the normal turns clockwise
    normal = np.array([c * line.normal[0] + s * line.normal[1], c * line.normal[1] - s * line.normal[0]])
    middle = line.normal * (line.offset + fit.offset_m) + line.direction * fit.pivot_m
    return replace(line, normal=normal, offset=float(normal @ middle))


def _placed(graph: Graph, fits: Fits, coefficients: Array) -> Array:
    """Where the fitted lines put the vertices, shape (v, 2)."""
    lines = Lines(boundaries=tuple(fitted_line(*fit) for fit in fits), coefficients=coefficients)
    places = []
    for vertex in graph.vertices:
        on = [lines.of(curve) for curve in vertex.curves]
        normals, offsets = np.array([n for n, _ in on]).reshape(-1, 2), np.array([d for _, d in on])
        places.append(meet(normals, offsets, np.ones(len(on)), vertex.xy))
    return np.array(places)


def _turned(graph: Graph, placed: Array) -> set[int]:
    """Chains that the fitted lines turn round, or shrink to next to nothing."""
    ends = np.array([(c.start, c.end) for c in graph.chains])
    cut = np.array([v.xy for v in graph.vertices])[ends]
    before, after = cut[:, 1] - cut[:, 0], placed[ends[:, 1]] - placed[ends[:, 0]]
    length = np.hypot(before[:, 0], before[:, 1])
    forward = (before * after).sum(axis=1) / np.maximum(length, 1e-9)
    return set(np.flatnonzero((forward < LEAST_SIDE_M) & (ends[:, 0] != ends[:, 1])).tolist())


def _without(graph: Graph, which: set[int], coefficients: Array) -> Graph:
    """The plan with some chains shrunk to a vertex each."""
    where = {n: vertex.xy for n, vertex in enumerate(graph.vertices)}
    chains, where = shrink(list(graph.chains), where, which)
    return graph_of(chains, where, Lines(boundaries=graph.boundary_lines, coefficients=coefficients))


def _held(graph: Graph, faces: list[Face], fits: Fits, coefficients: Array) -> Fits:
    """The fits without those that make a face's outline cross itself: such lines stay as they were cut."""
    fits = list(fits)
    while True:
        placed = _placed(graph, fits, coefficients)
        moved = np.hypot(*(placed - np.array([v.xy for v in graph.vertices])).T)
        at = {
            v for face in faces for loop, _ in face.loops if not _is_simple(placed[list(loop)]) for v in loop
        }
        doubtful: dict[int, float] = {}
        for v in at:
            for curve in graph.vertices[v].curves:
                if curve.boundary is not None and fits[curve.boundary][1] is not None:
                    doubtful[curve.boundary] = max(doubtful.get(curve.boundary, 0.0), float(moved[v]))
        if not doubtful:
            return fits
        worst = max(sorted(doubtful), key=lambda b: doubtful[b])
        fits[worst] = (fits[worst][0], None)


def _is_simple(ring: Array) -> bool:
    return bool(shapely.Polygon(ring).is_valid)
