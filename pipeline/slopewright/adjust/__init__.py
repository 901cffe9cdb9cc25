"""Adjust: planes, boundaries and what they share become one vector with one covariance, and a Roof.

Metres and radians; z up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..errors import NoRoofError
from ..measurement import Measurement
from ..roof import BudgetShare, Edge, Frame, Joint, Plane, Roof
from ..scene import Array, EdgeKind, Notice, RoofPoints, Segmentation, Topology
from .model import SHARED, Model, Shape, differences, jacobian
from .ties import tie

__all__ = ["AdjustConfig", "run"]

KIND_ORDER = tuple(EdgeKind)
INFERRED = 0.5  # faces and edges with less than this share seen are called inferred


@dataclass(frozen=True, slots=True, kw_only=True)
class AdjustConfig:
    """Standard uncertainties of what the residuals of a cloud cannot show."""

    beam_sd_m: float = 0.035  # of all free edges together in a sparse cloud: part of a wide beam returns
    window_sd_m: float = 0.025  # ... in a dense one: matching windows grow past edges
    edge_sd_m: float = 0.01  # of each free edge: shingle overhang, edges that are not quite straight
    scale_sd: float = 2e-4  # of lengths, relative
    tilt_sd_rad: float = float(np.deg2rad(0.03))  # of the vertical
    ground_sd_m: float = 0.10  # of the ground's level at the house


def run(
    points: RoofPoints,
    segmentation: Segmentation,
    topology: Topology,
    frame: Frame,
    config: AdjustConfig | None = None,
) -> Roof:
    """Adjust the roof and measure it.

    Parameters
    ----------
    points : RoofPoints
    segmentation : Segmentation
    topology : Topology
    frame : Frame
    config : AdjustConfig, optional

    Returns
    -------
    Roof
        With the notices of this stage.

    Raises
    ------
    NoRoofError
        If no face of positive area is left.
    """
    config = config or AdjustConfig()
    model = Model(segmentation, topology)
    adjusted = tie(model, model.start, _prior(model, segmentation, config))
    x, covariance = adjusted.vector, adjusted.covariance
    shape = model.shape(x[None])
    if (model.plan_areas(x[None], shape) <= 0).any():
        raise NoRoofError(
            f"roof {points.id}: a face turned inside out when its edges were adjusted,"
            " need a denser cloud or one with less noise"
        )

    batch, step = differences(model, x)
    names, values = _quantities(model, x[None], shape)
    _, moved = _quantities(model, batch, model.shape(batch))
    slope = jacobian(moved, step)
    spread = slope @ covariance @ slope.T
    every = _Quantities(
        rows={key: n for n, key in enumerate(names)}, values=values[0], covariance=(spread + spread.T) / 2
    )

    planes, plane_rows = _planes(model, segmentation, points, x, shape, every, frame, config)
    edges, edge_rows = _edges(model, planes, plane_rows, every)
    joint = _joint(every, planes, plane_rows, edges, edge_rows)
    area = joint.combine({f"area:{p.id}": 1.0 for p in planes})
    return Roof(
        frame=frame,
        vertices=_vertices(model, shape),
        planes=planes,
        edges=edges,
        joint=joint,
        area=area,
        plan_area=joint.combine({f"plan_area:{p.id}": 1.0 for p in planes}),
        by_pitch=_by_pitch(joint, planes),
        edge_totals={
            kind: joint.combine({f"length:{e.id}": 1.0 for e in edges if e.kind == kind})
            for kind in KIND_ORDER
            if any(e.kind == kind for e in edges)
        },
        budget=_budget(model, slope, covariance, len(topology.faces)),
        notices=tuple(_notices(planes, edges, len(adjusted.refused))),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Quantities:
    rows: dict[tuple[str, int], int]
    values: Array
    covariance: Array

    def row(self, name: str, index: int) -> int:
        return self.rows[name, index]

    def measured(self, name: str, index: int, *, factor: float = 1.0, floor: float = -np.inf) -> Measurement:
        n = self.row(name, index)
        u = float(np.sqrt(max(float(self.covariance[n, n]), 0.0)))
        return Measurement.normal(factor * float(self.values[n]), factor * u, floor=floor)


def _prior(model: Model, segmentation: Segmentation, config: AdjustConfig) -> Array:
    covariance = np.zeros((model.size, model.size))
    for k, plane in enumerate(segmentation.planes):
        at = slice(3 * k, 3 * k + 3)
        covariance[at, at] = plane.covariance
    for b, boundary in enumerate(model.topology.boundaries):
        at = slice(3 * model.n_planes + 2 * b, 3 * model.n_planes + 2 * b + 2)
        covariance[at, at] = boundary.covariance + np.diag([config.edge_sd_m**2, 0.0])
    bleed_sd_m = config.window_sd_m if segmentation.dense else config.beam_sd_m
    shared = [bleed_sd_m, config.scale_sd, config.tilt_sd_rad, config.tilt_sd_rad]
    for n, sd in enumerate(shared):
        covariance[n - len(SHARED), n - len(SHARED)] = sd**2
    return covariance


def _quantities(model: Model, vectors: Array, shape: Shape) -> tuple[list[tuple[str, int]], Array]:
    """Everything that is reported, as a function of the vector, shape (b, q)."""
    faces, edges = model.topology.faces, model.topology.edges
    plan = model.plan_areas(vectors, shape)
    planes = np.array([face.plane for face in faces])
    gradient = model.gradients(vectors)[:, planes]
    low = np.stack([shape.z[:, list(face.loops[0])].min(axis=1) for face in faces], axis=1)
    azimuth = np.unwrap(np.arctan2(-gradient[..., 0], -gradient[..., 1]), axis=0)
    parts = {
        "area": plan * model.slope_factors(vectors),
        "plan_area": plan,
        "pitch": np.arctan(np.hypot(gradient[..., 0], gradient[..., 1])),
        "rise": 12 * np.hypot(gradient[..., 0], gradient[..., 1]),
        "azimuth": azimuth,
        "low": low,
        "length": model.lengths(vectors, shape),
    }
    names = [(name, n) for name in parts for n in range(len(edges) if name == "length" else len(faces))]
    return names, np.concatenate(list(parts.values()), axis=1)


def _vertices(model: Model, shape: Shape) -> Array:
    vertex = [corner.vertex for corner in model.topology.corners]
    return np.column_stack([shape.xy[0, vertex], shape.z[0]])


def letters(n: int) -> str:
    """Plane ids: A to Z, then AA, AB, ..."""
    name = ""
    n += 1
    while n:
        n, digit = divmod(n - 1, 26)
        name = chr(ord("A") + digit) + name
    return name


def _planes(
    model: Model,
    segmentation: Segmentation,
    points: RoofPoints,
    vector: Array,
    shape: Shape,
    every: _Quantities,
    frame: Frame,
    config: AdjustConfig,
) -> tuple[tuple[Plane, ...], dict[str, int]]:
    faces = model.topology.faces
    coefficients = model.coefficients(vector[None])[0]
    vertices = _vertices(model, shape)
    area = [float(every.values[every.row("area", f)]) for f in range(len(faces))]
    order = sorted(
        range(len(faces)), key=lambda f: (-round(area[f], 6), *vertices[list(faces[f].loops[0])].mean(axis=0))
    )
    planes, rows = [], {}
    for n, f in enumerate(order):
        face = faces[f]
        a, b, c = coefficients[face.plane]
        scale = 1 / np.sqrt(1 + a * a + b * b)
        own = points.xyz[segmentation.labels == face.plane, :2]
        outline = shapely.Polygon(vertices[list(face.loops[0]), :2])
        shapely.prepare(outline)
        azimuth = every.measured("azimuth", f, factor=180 / np.pi)
        turn = 360 * np.floor(azimuth.value / 360)
        u = min(azimuth.u, 360 / np.sqrt(12))  # no direction at all: uniform over the circle
        eave = None
        if frame.ground_z_m is not None:
            low = every.measured("low", f)
            eave = Measurement.normal(
                low.value - frame.ground_z_m, float(np.hypot(low.u, config.ground_sd_m))
            )
        name = letters(n)
        rows[name] = f
        planes.append(
            Plane(
                id=name,
                normal=np.array([-a, -b, 1.0]) * scale,
                offset=float(c * scale),
                loops=face.loops,
                area=every.measured("area", f, floor=0.0),
                plan_area=every.measured("plan_area", f, floor=0.0),
                pitch_deg=every.measured("pitch", f, factor=180 / np.pi, floor=0.0),
                rise_in_12=every.measured("rise", f, floor=0.0),
                azimuth_deg=Measurement.normal(azimuth.value - turn, u),
                eave_height=eave,
                n_points=int(shapely.contains_xy(outline, own[:, 0], own[:, 1]).sum()),
                residual_rms_m=segmentation.planes[face.plane].rms_m,
                observed=face.observed,
            )
        )
    return tuple(planes), rows


def _edges(
    model: Model, planes: tuple[Plane, ...], plane_rows: dict[str, int], every: _Quantities
) -> tuple[tuple[Edge, ...], dict[str, int]]:
    """Edges in the order of their kinds, longest first, with the ids of the faces that they bound."""
    faces, traced = model.topology.faces, model.topology.edges
    sides: dict[tuple[int, int], list[str]] = {}
    for plane in planes:
        for loop in faces[plane_rows[plane.id]].loops:
            for a, b in zip(loop, loop[1:] + loop[:1], strict=True):
                sides.setdefault((min(a, b), max(a, b)), []).append(plane.id)
    length = [float(every.values[every.row("length", n)]) for n in range(len(traced))]
    order = sorted(
        range(len(traced)),
        key=lambda n: (
            KIND_ORDER.index(traced[n].kind),
            -round(length[n], 6),
            traced[n].start,
            traced[n].end,
        ),
    )
    edges: list[Edge] = []
    rows: dict[str, int] = {}
    for n in order:
        edge = traced[n]
        name = f"e{len(edges) + 1}"
        rows[name] = n
        edges.append(
            Edge(
                id=name,
                kind=edge.kind,
                start=edge.start,
                end=edge.end,
                length=every.measured("length", n, floor=0.0),
                planes=tuple(sorted(sides[min(edge.start, edge.end), max(edge.start, edge.end)], key=_by_id)),
                observed=edge.observed,
            )
        )
    return tuple(edges), rows


def _by_id(name: str) -> tuple[int, str]:
    return len(name), name


def _joint(
    every: _Quantities,
    planes: tuple[Plane, ...],
    plane_rows: dict[str, int],
    edges: tuple[Edge, ...],
    edge_rows: dict[str, int],
) -> Joint:
    wanted = [(f"{what}:{p.id}", (what, plane_rows[p.id])) for what in ("area", "plan_area") for p in planes]
    wanted += [(f"length:{e.id}", ("length", edge_rows[e.id])) for e in edges]
    rows = [every.row(*key) for _, key in wanted]
    return Joint(
        names=tuple(name for name, _ in wanted),
        values=every.values[rows],
        covariance=every.covariance[np.ix_(rows, rows)],
    )


def _by_pitch(joint: Joint, planes: tuple[Plane, ...]) -> tuple[tuple[int, Measurement], ...]:
    classes = sorted({round(p.rise_in_12.value) for p in planes})
    return tuple(
        (
            rise,
            joint.combine({f"area:{p.id}": 1.0 for p in planes if round(p.rise_in_12.value) == rise}),
        )
        for rise in classes
    )


def _budget(model: Model, slope: Array, covariance: Array, n_faces: int) -> tuple[BudgetShare, ...]:
    """Which source the variance of the total area comes from, largest first."""
    total = slope[:n_faces].sum(axis=0)
    at = 3 * model.n_planes
    unseen = [b.observed == 0 for b in model.topology.boundaries]
    seen_rows = [at + 2 * b + i for b, hidden in enumerate(unseen) if not hidden for i in (0, 1)]
    hidden_rows = [at + 2 * b + i for b, hidden in enumerate(unseen) if hidden for i in (0, 1)]
    groups = {
        "pitch of the planes": list(range(at)),
        "position of eaves, rakes and walls": seen_rows,
        "edges that were not seen": hidden_rows,
        "edges of the cloud as a whole": [model.size - 4],
        "scale": [model.size - 3],
        "level": [model.size - 2, model.size - 1],
    }
    parts = {
        name: max(float(total[rows] @ covariance[np.ix_(rows, rows)] @ total[rows]), 0.0)
        for name, rows in groups.items()
        if rows
    }
    whole = sum(parts.values()) or 1.0
    return tuple(
        BudgetShare(source=name, area_share=part / whole)
        for name, part in sorted(parts.items(), key=lambda item: -item[1])
    )


def _notices(planes: tuple[Plane, ...], edges: tuple[Edge, ...], refused: int) -> list[Notice]:
    found = []
    inferred = tuple(p.id for p in planes if p.observed < INFERRED)
    if inferred:
        found.append(
            Notice(
                code="plane_inferred",
                text="less than half of these planes was seen; the rest is inferred",
                about=inferred,
            )
        )
    unseen = tuple(e.id for e in edges if e.observed < INFERRED)
    if unseen:
        found.append(
            Notice(
                code="edge_inferred",
                text="less than half of these edges was seen; the rest is inferred",
                about=unseen,
            )
        )
    walls = tuple(e.id for e in edges if e.kind in (EdgeKind.SIDEWALL, EdgeKind.HEADWALL))
    if walls:
        found.append(
            Notice(
                code="hidden_strip",
                text="a roof may run on under the eave above it up to the wall; only what is seen from above"
                " is counted here",
                about=walls,
            )
        )
    if refused:
        found.append(
            Notice(
                code="corner_open",
                text=f"at {refused} corner(s) the planes do not meet within their uncertainty;"
                " the corner is their mean",
            )
        )
    return found
