"""Fit every boundary line of the plan to the points of the faces that end on it.  Metres."""

from __future__ import annotations

import numpy as np

from ..scene import Boundary
from .boundary import UNSEEN_SD_M, StepFit, Strip, fit_step, strip_along
from .candidates import PlanLine
from .evidence import Evidence
from .faces import Face, Sight, is_upper, outward_of
from .trace import Graph

SMEAR_M = {False: 0.04, True: 0.02}  # how unsharp edges are in sparse and in dense clouds


def fit_boundaries(
    graph: Graph, faces: list[Face], sight: Sight, evidence: Evidence
) -> list[tuple[PlanLine, StepFit | None]]:
    """Fit every boundary line to the free faces that end on it."""
    strips: list[list[Strip]] = [[] for _ in graph.boundary_lines]
    oriented: list[PlanLine | None] = [None] * len(strips)
    for face in faces:
        for _, walk in face.loops:
            for chain, forward in walk:
                c = graph.chains[chain]
                b = c.curve.boundary
                if b is None or not is_upper(graph, chain, face.plane, evidence):
                    continue
                line = graph.boundary_lines[b]
                if float(outward_of(graph, chain, forward) @ line.normal) < 0:
                    line = line.flipped()
                placed = oriented[b]
                if placed is None:
                    placed = oriented[b] = line
                if float(line.normal @ placed.normal) < 0:
                    continue  # two roofs back to back on one line: the first places it
                ends = [graph.vertices[v].xy for v in (c.start, c.end)]
                low, high = sorted(float(e @ line.direction) for e in ends)
                strips[b].append(
                    strip_along(
                        sight.points[face.plane],
                        face.polygon,
                        (line.normal, line.offset),
                        (low, high),
                        density=sight.density[face.plane],
                        spacing_m=sight.spacing_m,
                    )
                )
    return [
        (line or as_cut, fit_step(found, smear_prior_m=SMEAR_M[sight.dense]) if found else None)
        for line, as_cut, found in zip(oriented, graph.boundary_lines, strips, strict=True)
    ]


def boundary_of(line: PlanLine, fit: StepFit | None) -> Boundary:
    """The boundary at the fitted place, or where the line was cut if nothing shows it."""
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
