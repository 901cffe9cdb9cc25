"""One measured roof against its truth, as a row of the core's study.  Metres, square metres, degrees."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import shapely

from simulate import Comparison, TrueRoof, compare_roof
from simulate.compare import Bound
from slopewright.certify import reasons_against
from slopewright.roof import Plane, Roof

OVERLAP = 0.5  # of a face's plan (ISPRS benchmark on urban objects)
ANGLE_DEG = 5.0  # between the normals of a face and what is taken for it
SHARES = (0.50, 0.80, 0.95)
NORMAL_POINT = (0.6744897501960817, 1.2815515655446004, 1.959963984540054)  # two-sided, of SHARES


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Faces that are not as they are, those below a size left out."""

    missed: tuple[int, ...] = ()  # true faces
    invented: tuple[str, ...] = ()  # measured faces
    merged: tuple[str, ...] = ()  # measured faces that are most of several true ones
    split: tuple[int, ...] = ()  # true faces that are most of several measured ones

    @property
    def n_faults(self) -> int:
        """Faults of all kinds."""
        return len(self.missed) + len(self.invented) + len(self.merged) + len(self.split)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One roof; numbers are nan and lists empty where nothing was measured."""

    sensor: str
    kind: str
    seed: int
    strange: bool = False
    drawn: dict[str, float] = field(default_factory=dict)
    failure: str = ""
    not_certified: str = ""
    notices: tuple[str, ...] = ()  # codes
    n_true: int = 0
    true_faces: tuple[tuple[float, bool], ...] = ()  # area, found
    measured_faces: tuple[tuple[float, bool], ...] = ()  # area, correct
    faults: str = ""  # of faces of the class's least size
    faults_any: int = 0  # of faces of any size
    edge_sums: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)  # true found, true, right, measured
    area_error: float = math.nan  # relative
    plan_error: float = math.nan
    area_half: float = math.nan  # relative
    area_score: float = math.nan  # error over u
    pitches: tuple[tuple[float, float, float, float], ...] = ()  # true area, error, error over u, inside 95 %
    areas: tuple[tuple[float, float, float], ...] = ()  # per face: true area, error over u, inside 95 %
    lengths: tuple[tuple[str, float, float, float, float], ...] = ()  # kind, true, measured, over u, inside
    corners: tuple[float, ...] = ()  # distance of each true corner from the nearest measured one
    budget: dict[str, float] = field(default_factory=dict)
    seconds: float = math.nan


def failed(truth: TrueRoof, failure: str) -> dict[str, object]:
    """What a row says when nothing came out: every face is missed."""
    faces = tuple((p.area_m2, False) for p in truth.planes)
    lengths = sum(e.length_m for e in truth.edges)
    return {
        "failure": failure,
        "n_true": len(faces),
        "true_faces": faces,
        "edge_sums": (0.0, lengths, 0.0, 0.0),
    }


def scored(truth: TrueRoof, roof: Roof, least_m2: float) -> dict[str, object]:
    """Everything a row says about a measured roof."""
    common, angle = overlaps(truth, roof)
    result = compare_roof(roof, truth)
    of_class = judge(truth, roof, common, angle, least_m2)
    found = (_most(common, _true_plan(truth)[:, None]) & (angle < ANGLE_DEG)).any(axis=1)
    right = (_most(common, _measured_plan(roof)[None]) & (angle < ANGLE_DEG)).any(axis=0)
    area = result.bound("area")
    scores = result.edges.values()
    return {
        "not_certified": "; ".join(reasons_against(roof)),
        "notices": tuple(notice.code for notice in roof.notices),
        "n_true": len(truth.planes),
        "true_faces": tuple((p.area_m2, bool(f)) for p, f in zip(truth.planes, found, strict=True)),
        "measured_faces": tuple((p.area.value, bool(r)) for p, r in zip(roof.planes, right, strict=True)),
        "faults": _words(of_class),
        "faults_any": judge(truth, roof, common, angle, 0.0).n_faults,
        "edge_sums": (
            sum(s.true_found_m for s in scores),
            sum(s.true_m for s in scores),
            sum(s.measured_right_m for s in scores),
            sum(s.measured_m for s in scores),
        ),
        "area_error": result.area_error,
        "plan_error": result.plan_area_error,
        "area_half": roof.area.half_width / roof.area.value,
        "area_score": area.score,
        "pitches": tuple(_pitch(truth, result, f.true, f.pitch_rad) for f in result.faces),
        "areas": tuple(
            (truth.planes[f.true].area_m2, b.score, float(b.holds))
            for f in result.faces
            for b in [result.bound(f"area:{f.true}")]
        ),
        "lengths": tuple(_lengths(truth, roof, result)),
        "corners": tuple(_corner_errors(truth, roof)),
        "budget": {share.source: share.area_share for share in roof.budget},
    }


def overlaps(truth: TrueRoof, roof: Roof) -> tuple[np.ndarray, np.ndarray]:
    """Common plan area [m²] and angle between the normals [deg] of each true and each measured face."""
    plans = [plan_of(roof, plane) for plane in roof.planes]
    common = np.array([[t.plan.intersection(plan).area for plan in plans] for t in truth.planes])
    cosine = np.array([p.normal for p in truth.planes]) @ np.array([p.normal for p in roof.planes]).T
    return common, np.rad2deg(np.arccos(np.clip(cosine, -1, 1)))


def plan_of(roof: Roof, plane: Plane) -> shapely.Geometry:
    """A measured face in plan, where the truth stands."""
    rings = [roof.ring(loop)[:, :2] + roof.frame.origin[:2] for loop in plane.loops]
    return shapely.make_valid(shapely.Polygon(rings[0], rings[1:]))


def judge(truth: TrueRoof, roof: Roof, common: np.ndarray, angle: np.ndarray, least_m2: float) -> Verdict:
    """Which faces are missed, invented, merged or split; a face below the least size is no fault."""
    true_large = np.array([p.area_m2 >= least_m2 for p in truth.planes])
    large = np.array([p.area.value >= least_m2 for p in roof.planes])
    like = angle < ANGLE_DEG
    covers, inside = _most(common, _true_plan(truth)[:, None]), _most(common, _measured_plan(roof)[None])
    missed = true_large & ~(covers & like).any(axis=1)
    invented = large & ~(inside & like).any(axis=0)
    merged = (covers & true_large[:, None]).sum(axis=0) > 1
    split = (inside & large[None]).sum(axis=1) > 1
    return Verdict(
        missed=tuple(np.flatnonzero(missed).tolist()),
        invented=tuple(roof.planes[j].id for j in np.flatnonzero(invented)),
        merged=tuple(roof.planes[j].id for j in np.flatnonzero(merged)),
        split=tuple(np.flatnonzero(split).tolist()),
    )


def _true_plan(truth: TrueRoof) -> np.ndarray:
    return np.array([p.plan_area_m2 for p in truth.planes])


def _measured_plan(roof: Roof) -> np.ndarray:
    return np.array([plan_of(roof, p).area for p in roof.planes])


def _most(common: np.ndarray, whole: np.ndarray) -> np.ndarray:
    return np.asarray(common > OVERLAP * whole)


def _words(verdict: Verdict) -> str:
    named = (("missed", verdict.missed), ("invented", verdict.invented))
    named += (("merged", verdict.merged), ("split", verdict.split))  # type: ignore[assignment]
    return "; ".join(f"{word} {', '.join(map(str, faces))}" for word, faces in named if faces)


def _pitch(
    truth: TrueRoof, result: Comparison, k: int, error_rad: float
) -> tuple[float, float, float, float]:
    bound = result.bound(f"pitch_deg:{k}")
    return truth.planes[k].area_m2, math.degrees(error_rad), bound.score, float(bound.holds)


def _lengths(truth: TrueRoof, roof: Roof, result: Comparison) -> list[tuple[str, float, float, float, float]]:
    """Each kind that occurs on either side; one that was not measured is a bound that does not hold."""
    rows = []
    for kind in result.edges:
        true = truth.length_m(kind)
        if kind in roof.edge_totals:
            bound = Bound(name=kind, true=true, measured=roof.edge_totals[kind])
            rows.append((kind.value, true, bound.measured.value, bound.score, float(bound.holds)))
        else:
            rows.append((kind.value, true, 0.0, -math.inf, 0.0))
    return rows


def _corner_errors(truth: TrueRoof, roof: Roof) -> list[float]:
    corners = np.unique(np.round(np.vstack([p.outer for p in truth.planes]), 6), axis=0)
    used = sorted({row for plane in roof.planes for loop in plane.loops for row in loop})
    measured = roof.vertices[used] + roof.frame.origin
    apart = np.linalg.norm(corners[:, None] - measured[None], axis=2)
    return [float(d) for d in apart.min(axis=1)]
