"""A true roof in the form of a measured one, for tests of what comes after the measuring.  Metres."""

from __future__ import annotations

import math
from collections.abc import Sequence
from string import ascii_uppercase

import numpy as np

from slopewright.measurement import Measurement
from slopewright.roof import Edge, Frame, Joint, Plane, Roof
from slopewright.scene import Array, EdgeKind

from .truth import TruePlane, TrueRoof

SAME_M = 1e-6  # corners closer than this are one


def as_measured(
    truth: TrueRoof,
    *,
    u_length_m: float = 0.02,
    u_area: float = 0.01,
    u_pitch_deg: float = 0.1,
    origin: Sequence[float] = (0.0, 0.0, 0.0),
) -> Roof:
    """The exact values with declared uncertainties: `u_area` is relative and common to all areas."""
    vertices = _distinct(
        [*(ring for p in truth.planes for ring in (p.outer, *p.holes)), *(e.start for e in truth.edges)]
        + [e.end for e in truth.edges]
    )
    ids = [_name(k) for k in range(len(truth.planes))]
    planes = tuple(
        _plane(ids[k], p, truth, vertices, u_area, u_pitch_deg) for k, p in enumerate(truth.planes)
    )
    edges = tuple(
        Edge(
            id=f"e{i}",
            kind=e.kind,
            start=_row(e.start, vertices),
            end=_row(e.end, vertices),
            length=Measurement.normal(e.length_m, u_length_m),
            planes=tuple(ids[k] for k in e.planes),
            observed=1.0,
        )
        for i, e in enumerate(truth.edges, start=1)
    )
    joint = _joint(planes, edges, u_area)
    totals = {
        kind: joint.combine({f"length:{e.id}": 1.0 for e in edges if e.kind == kind})
        for kind in EdgeKind
        if any(e.kind == kind for e in edges)
    }
    rises = sorted({round(p.rise_in_12.value) for p in planes})
    return Roof(
        frame=Frame(origin=np.array(origin, dtype=np.float64), ground_z_m=truth.ground_z_m),
        vertices=vertices,
        planes=planes,
        edges=edges,
        joint=joint,
        area=joint.combine({f"area:{i}": 1.0 for i in ids}),
        plan_area=joint.combine({f"plan_area:{i}": 1.0 for i in ids}),
        by_pitch=tuple(
            (
                rise,
                joint.combine({f"area:{p.id}": 1.0 for p in planes if round(p.rise_in_12.value) == rise}),
            )
            for rise in rises
        ),
        edge_totals=totals,
    )


def _name(k: int) -> str:
    """A to Z, AA to AZ, ..."""
    return (ascii_uppercase[k // 26 - 1] if k >= 26 else "") + ascii_uppercase[k % 26]


def _distinct(parts: Sequence[Array]) -> Array:
    points = np.vstack(parts)
    same = np.abs(points[:, None] - points[None]).max(axis=2) < SAME_M
    return points[same.argmax(axis=1) == np.arange(len(points))]


def _row(point: Array, vertices: Array) -> int:
    return int(np.abs(vertices - point).max(axis=1).argmin())


def _loop(ring: Array, vertices: Array) -> tuple[int, ...]:
    """Rows of a ring's corners, with those of other faces that lie on its sides."""
    rows: list[int] = []
    for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        length = np.linalg.norm(end - start)
        along = (end - start) / length
        position = (vertices - start) @ along
        away = np.linalg.norm(vertices - start - position[:, None] * along, axis=1)
        on = np.flatnonzero((away < SAME_M) & (position > -SAME_M) & (position < length - SAME_M))
        rows += on[np.argsort(position[on])].tolist()
    return tuple(rows)


def _plane(
    name: str, true: TruePlane, roof: TrueRoof, vertices: Array, u_area: float, u_pitch_deg: float
) -> Plane:
    pitch_deg = math.degrees(true.pitch_rad)
    u_rise = 12 / math.cos(true.pitch_rad) ** 2 * math.radians(u_pitch_deg)
    eave_m = float(true.outer[:, 2].min()) - roof.ground_z_m
    return Plane(
        id=name,
        normal=true.normal.copy(),
        offset=true.offset,
        loops=tuple(_loop(ring, vertices) for ring in (true.outer, *true.holes)),
        area=Measurement.normal(true.area_m2, u_area * true.area_m2),
        plan_area=Measurement.normal(true.plan_area_m2, u_area * true.plan_area_m2),
        pitch_deg=Measurement.normal(pitch_deg, u_pitch_deg),
        rise_in_12=Measurement.normal(12 * math.tan(true.pitch_rad), u_rise),
        azimuth_deg=Measurement.normal(math.degrees(true.azimuth_rad), u_pitch_deg),
        eave_height=Measurement.normal(eave_m, 0.05),
        n_points=1000,
        residual_rms_m=0.02,
        observed=1.0,
    )


def _joint(planes: Sequence[Plane], edges: Sequence[Edge], u_area: float) -> Joint:
    """Areas share one relative error; lengths are independent."""
    names = [f"area:{p.id}" for p in planes] + [f"plan_area:{p.id}" for p in planes]
    names += [f"length:{e.id}" for e in edges]
    values = np.array([*(p.area.value for p in planes), *(p.plan_area.value for p in planes)])
    n = len(values)
    covariance = np.diag([0.0] * n + [e.length.u**2 for e in edges])
    covariance[:n, :n] = u_area**2 * np.outer(values, values)
    lengths = np.array([e.length.value for e in edges])
    return Joint(names=tuple(names), values=np.concatenate([values, lengths]), covariance=covariance)
