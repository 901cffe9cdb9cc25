"""A measured roof against the true one: which faces and edges were found, how far off, do the bounds hold.

Metres, square metres and radians.  The measured roof stands at frame.origin + vertices, as the true one does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from slopewright.measurement import Measurement
from slopewright.roof import Plane, Roof
from slopewright.scene import Array, EdgeKind

from .truth import TruePlane, TrueRoof

OVERLAP = 0.5  # share of both faces' plan that a match shares (ISPRS benchmark on urban objects)
NEAR_M = 0.5  # an edge that is farther from its like is another edge
PARALLEL_RAD = math.radians(15)


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceMatch:
    """A true face and the measured one that covers it; errors are measured minus true."""

    true: int
    measured: str
    overlap: float  # intersection over union in plan, 0..1
    area_m2: float
    pitch_rad: float
    azimuth_rad: float  # -pi to pi; nan for a level face


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """A measured quantity beside its truth."""

    name: str  # "area", "plan_area", "area:0", "pitch_deg:0", "edges:ridge", ...
    true: float
    measured: Measurement

    @property
    def holds(self) -> bool:
        """Is the truth within the 95 % bounds?"""
        return self.measured.low <= self.true <= self.measured.high

    @property
    def score(self) -> float:
        """Error in standard uncertainties; infinite for an error with none."""
        error = self.measured.value - self.true
        if self.measured.u > 0:
            return error / self.measured.u
        return 0.0 if abs(error) < 1e-9 else math.copysign(math.inf, error)


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeScore:
    """Edges of one kind by length: true, measured, and how much of each the other side has."""

    kind: EdgeKind
    true_m: float
    measured_m: float
    true_found_m: float
    measured_right_m: float

    @property
    def f1(self) -> float:
        """Harmonic mean of completeness and correctness by length."""
        return _f1(self.true_found_m, self.true_m, self.measured_right_m, self.measured_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What a measured roof got right."""

    faces: tuple[FaceMatch, ...]
    missed: tuple[int, ...]  # true faces without a match
    false: tuple[str, ...]  # measured faces without a match
    edges: dict[EdgeKind, EdgeScore]
    area_error: float  # (measured - true) / true
    plan_area_error: float
    bounds: tuple[Bound, ...]

    @property
    def edge_f1(self) -> float:
        """Length-weighted F1 over all kinds of edges."""
        scores = self.edges.values()
        return _f1(
            sum(s.true_found_m for s in scores),
            sum(s.true_m for s in scores),
            sum(s.measured_right_m for s in scores),
            sum(s.measured_m for s in scores),
        )

    def bound(self, name: str) -> Bound:
        """The bound of a name."""
        return next(bound for bound in self.bounds if bound.name == name)


def compare_roof(measured: Roof, truth: TrueRoof, *, with_hidden: bool = False) -> Comparison:
    """Match faces and edges and hold the bounds against the truth.

    Parameters
    ----------
    with_hidden : bool
        Count strips out of sight under a higher roof's overhang as part of the true faces' and the
        total area (not of the plan area): for a measurement that infers them.
    """
    plans = [_plan(measured, plane) for plane in measured.planes]
    pairs = _pairs(plans, [plane.plan for plane in truth.planes])
    faces, bounds = [], []
    for k, j, overlap in pairs:
        true, plane = truth.planes[k], measured.planes[j]
        area = true.area_m2 + (true.hidden_m2 if with_hidden else 0.0)
        faces.append(_face(k, true, plane, overlap, area))
        bounds.append(Bound(name=f"area:{k}", true=area, measured=plane.area))
        bounds.append(
            Bound(name=f"pitch_deg:{k}", true=math.degrees(true.pitch_rad), measured=plane.pitch_deg)
        )
    area = truth.area_m2 + (sum(p.hidden_m2 for p in truth.planes) if with_hidden else 0.0)
    bounds.append(Bound(name="area", true=area, measured=measured.area))
    bounds.append(Bound(name="plan_area", true=truth.plan_area_m2, measured=measured.plan_area))
    bounds += [
        Bound(name=f"edges:{kind}", true=truth.length_m(kind), measured=total)
        for kind, total in measured.edge_totals.items()
    ]
    return Comparison(
        faces=tuple(faces),
        missed=tuple(sorted(set(range(len(truth.planes))) - {k for k, _, _ in pairs})),
        false=tuple(p.id for j, p in enumerate(measured.planes) if j not in {j for _, j, _ in pairs}),
        edges=_edge_scores(measured, truth),
        area_error=measured.area.value / area - 1,
        plan_area_error=measured.plan_area.value / truth.plan_area_m2 - 1,
        bounds=tuple(bounds),
    )


def _plan(roof: Roof, plane: Plane) -> shapely.Geometry:
    rings = [roof.ring(loop)[:, :2] + roof.frame.origin[:2] for loop in plane.loops]
    return shapely.make_valid(shapely.Polygon(rings[0], rings[1:]))


def _pairs(
    measured: Sequence[shapely.Geometry], true: Sequence[shapely.Polygon]
) -> list[tuple[int, int, float]]:
    """(true, measured, overlap) of faces that share more than half of either's plan: at most one each."""
    pairs = []
    for k, plan in enumerate(true):
        for j, other in enumerate(measured):
            common = plan.intersection(other).area
            if common > OVERLAP * max(plan.area, other.area):
                pairs.append((k, j, common / (plan.area + other.area - common)))
    return pairs


def _face(k: int, true: TruePlane, plane: Plane, overlap: float, area_m2: float) -> FaceMatch:
    turn = math.radians(plane.azimuth_deg.value) - true.azimuth_rad
    return FaceMatch(
        true=k,
        measured=plane.id,
        overlap=overlap,
        area_m2=plane.area.value - area_m2,
        pitch_rad=math.radians(plane.pitch_deg.value) - true.pitch_rad,
        azimuth_rad=math.remainder(turn, 2 * math.pi) if true.pitch_rad > 1e-9 else math.nan,
    )


def _edge_scores(measured: Roof, truth: TrueRoof) -> dict[EdgeKind, EdgeScore]:
    """Scores of the kinds that occur on either side."""
    scores = {}
    for kind in EdgeKind:
        true = [np.stack([e.start, e.end]) for e in truth.edges if e.kind == kind]
        found = [
            measured.vertices[[e.start, e.end]] + measured.frame.origin
            for e in measured.edges
            if e.kind == kind
        ]
        if true or found:
            scores[kind] = EdgeScore(
                kind=kind,
                true_m=sum(_length(e) for e in true),
                measured_m=sum(_length(e) for e in found),
                true_found_m=sum(covered_m(e, found) for e in true),
                measured_right_m=sum(covered_m(e, true) for e in found),
            )
    return scores


def covered_m(edge: Array, others: Sequence[Array]) -> float:
    """Length [m] of an edge, shape (2, 3), that runs beside one of the others within reach and parallel."""
    length = _length(edge)
    if length < 1e-9:
        return 0.0
    along = (edge[1] - edge[0]) / length
    spans = []
    for other in others:
        step = other[1] - other[0]
        size = float(np.linalg.norm(step))
        if size < 1e-9 or abs(step @ along) < size * math.cos(PARALLEL_RAD):
            continue
        t = (other - edge[0]) @ along
        away = other - edge[0] - t[:, None] * along
        # the part of the other edge, straight between its ends, that stays within reach
        share = np.linspace(0, 1, 101)
        near = np.linalg.norm(away[0] + share[:, None] * (away[1] - away[0]), axis=1) <= NEAR_M
        if near.any():
            inside = np.sort(t[0] + share[near][[0, -1]] * (t[1] - t[0]))
            spans.append((max(inside[0], 0.0), min(inside[1], length)))
    total, reached = 0.0, 0.0
    for low, high in sorted(spans):
        total += max(0.0, high - max(low, reached))
        reached = max(reached, high)
    return total


def _length(edge: Array) -> float:
    return float(np.linalg.norm(edge[1] - edge[0]))


def _f1(found: float, true: float, right: float, measured: float) -> float:
    if true == 0 or measured == 0:
        return 0.0
    completeness, correctness = found / true, right / measured
    return (
        0.0
        if completeness + correctness == 0
        else 2 * completeness * correctness / (completeness + correctness)
    )
