"""Fit every boundary line of the plan to the points of the faces that end on it.  Metres."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..scene import Boundary
from .beam import fit_edge
from .boundary import UNSEEN_SD_M, StepFit
from .candidates import PlanLine
from .evidence import Evidence
from .faces import Face, Sight, is_upper, outward_of
from .settle import Graph
from .strip import Strip, strip_along

SMEAR_M = {False: 0.04, True: 0.02}  # how unsharp edges are in sparse and in dense clouds
CLEAR_NOISES = 4.0  # standard deviations between two faces that hardly a point crosses
WAVE_M = 1.0  # dense clouds: what makes an edge unsharp goes on along it for a matching window or two


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
                span = _clear_span(graph, chain, face.plane, line, evidence, CLEAR_NOISES * sight.noise_m)
                strips[b].append(
                    strip_along(
                        sight.points[face.plane],
                        sight.straddles[face.plane],
                        face.polygon,
                        (line.normal, line.offset),
                        span,
                        density=sight.density[face.plane],
                        spacing_m=sight.spacing_m,
                    )
                )
    fits: list[tuple[PlanLine, StepFit | None]] = []
    for placed, as_cut, found in zip(oriented, graph.boundary_lines, strips, strict=True):
        fit = fit_edge(found, smear_prior_m=SMEAR_M[sight.dense]) if found else None
        fits.append((placed or as_cut, _with_waves(fit) if fit and sight.dense else fit))
    return fits


def _clear_span(
    graph: Graph, chain: int, plane: int, line: PlanLine, evidence: Evidence, clear_m: float
) -> tuple[float, float]:
    """Stations between which a face ends on a line, and stands clear of a face below.

    Where the two come closer than `clear_m`, points of either are taken for the other's.
    """
    c = graph.chains[chain]
    ends = np.array([graph.vertices[v].xy for v in (c.start, c.end)])
    stations = ends @ line.direction
    other = c.right if c.left == plane else c.left
    if other >= 0:
        gap = np.column_stack([ends, np.ones(2)]) @ (
            evidence.coefficients[plane] - evidence.coefficients[other]
        )
        low = int(np.argmin(gap))
        if gap[low] < clear_m:
            share = (clear_m - gap[low]) / max(gap[1 - low] - gap[low], 1e-9)
            stations[low] += min(share, 1.0) * (stations[1 - low] - stations[low])
    return float(stations.min()), float(stations.max())


def _with_waves(fit: StepFit) -> StepFit:
    """A fit whose points stray together along the edge: a straight line through so many waves' means."""
    n_waves = max(fit.seen_m / WAVE_M, 1.0)
    offset = fit.smear_m**2 / n_waves
    turn = 12 * offset / max(fit.seen_m, WAVE_M) ** 2
    return replace(fit, covariance=fit.covariance + np.diag([offset, turn]))


def boundary_of(line: PlanLine, fit: StepFit | None, bleed_m: float) -> Boundary:
    """The boundary `bleed_m` inside of the fitted place, or where the line was cut if nothing shows it."""
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
        point=line.normal * (line.offset + fit.offset_m - bleed_m) + line.direction * fit.pivot_m,
        # e(s) = offset + turn s lies further out for larger s: the normal turns clockwise
        angle_rad=angle - fit.turn_rad,
        covariance=fit.covariance * np.array([[1.0, -1.0], [-1.0, 1.0]]),
        observed=fit.observed,
    )
