"""The stage's way through: lines, cells, labels, chains, faces, fitted boundaries.  Metres; z up.

Candidate lines cut the plan into cells; one labelling gives each cell its plane; what separates unlike
labels are the edges.  Shared edges come out shared.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..errors import NoRoofError, NotCertifiedError
from ..scene import RoofPoints, Segmentation, Topology
from .ambiguity import doubtful_cells, with_doubt
from .arrangement import Cells, cut, stations_after_extension
from .assemble import assemble
from .bleed import common_bleed
from .candidates import PlanLine, candidate_lines, closing_lines
from .evidence import Evidence, gather, without
from .holes import fill_holes
from .labelling import absorb_small, fill_shadows, label_cells, votes
from .refit import fit_outline
from .trace import trace


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
    doubtful = doubtful_cells(cells, lines, labels, votes(cells, evidence), evidence)
    if lost > config.most_lost:
        raise NotCertifiedError(
            f"roof {points.id}: {100 * lost:.0f} % of its points lie in no face that could be closed,"
            " need a denser cloud or one with a clear outline"
        )
    graph = trace(cells, lines, labels, evidence)
    outline = fit_outline(graph, points, segmentation, evidence)
    if not outline.faces:
        raise NoRoofError(f"roof {points.id}: no face could be closed, need a denser or larger cloud")
    bleed = common_bleed(points, outline.graph, evidence, segmentation)
    return with_doubt(assemble(outline, evidence, lost, bleed), doubtful)


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
        labels = fill_holes(cells, labels, ground)
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
