"""The roof of a state: all that is reported follows from one adjusted vector.  Metres and radians; z up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measurement import Measurement
from ..roof import BudgetShare, Edge, Joint, Plane, Roof
from ..scene import Array
from ..state import FixLength, Frame, RoofState
from .model import SHARED, Model, Shape, linearised, with_differences
from .naming import KIND_ORDER
from .observed import Observations
from .solve import Adjusted, adjust
from .tell import notices


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution:
    """The adjusted vector of a state, where it puts the corners, and every quantity with its covariance."""

    model: Model
    adjusted: Adjusted
    shape: Shape
    rows: dict[str, int]  # first row of each kind of quantity; then one a face, or one an edge
    values: Array  # (q,)
    slope: Array  # (q, n)
    covariance: Array  # (q, q)

    def measured(self, name: str, index: int, *, factor: float = 1.0, floor: float = -np.inf) -> Measurement:
        """One quantity, `factor` times."""
        n = self.rows[name] + index
        u = float(np.sqrt(max(float(self.covariance[n, n]), 0.0)))
        return Measurement.normal(factor * float(self.values[n]), factor * u, floor=floor)

    def each(self, name: str) -> Array:
        """Values of one kind of quantity, one a face or an edge."""
        n = len(self.model.topology.edges if name == "length" else self.model.topology.faces)
        return self.values[self.rows[name] : self.rows[name] + n]

    @property
    def vertices(self) -> Array:
        """Corners, shape (c, 3)."""
        vertex = [corner.vertex for corner in self.model.topology.corners]
        return np.column_stack([self.shape.xy[0, vertex], self.shape.z[0]])


def solve(state: RoofState) -> Solution:
    """Adjust a state's vector and compute all quantities from it."""
    model = Model(state.planes, state.topology)
    observations = Observations(state, state.observations)
    adjusted = adjust(model, model.start, _prior(model, state), observations)
    batch, step = with_differences(model, adjusted.vector)
    shape = model.shape(batch)
    rows, computed = _quantities(model, batch, shape)
    values, slope = linearised(computed, step)
    spread = slope @ adjusted.covariance @ slope.T
    length = rows["length"] + np.arange(len(state.topology.edges))
    spread[length, length] += np.square(_ambiguous_m(state))
    return Solution(
        model=model,
        adjusted=adjusted,
        shape=Shape(xy=shape.xy[:1], z=shape.z[:1], spread=shape.spread[:1], misses=shape.misses[:1]),
        rows=rows,
        values=values,
        slope=slope,
        covariance=(spread + spread.T) / 2,
    )


def _ambiguous_m(state: RoofState) -> Array:
    """Standard uncertainty of each edge's length from how the plan was cut; none where it was measured."""
    taped = {name for o in state.observations if isinstance(o.made, FixLength) for name in o.of}
    found = [edge.ambiguous_m for edge in state.topology.edges]
    if taped:
        found = [0.0 if state.edge_ids[n] in taped else u for n, u in enumerate(found)]
    return np.array(found)


def expected(solution: Solution, observations: Observations) -> tuple[float, float]:
    """What a solved roof says of an observation, with its standard uncertainty."""
    batch, step = with_differences(solution.model, solution.adjusted.vector)
    found = observations.expected(solution.model, batch, solution.model.shape(batch))
    value, slope = linearised(found, step)
    variance = float(slope[0] @ solution.adjusted.covariance @ slope[0])
    return float(value[0]), float(np.sqrt(max(variance, 0.0)))


def roof_of(state: RoofState, solution: Solution, frame: Frame) -> Roof:
    """The roof of a solved state: excluded planes and what only they have are left out."""
    planes = _planes(state, solution, frame)
    edges = _edges(state, solution)
    joint = _joint(state, solution, planes, edges)
    return Roof(
        frame=frame,
        vertices=solution.vertices,
        planes=planes,
        edges=edges,
        joint=joint,
        area=joint.combine({f"area:{p.id}": 1.0 for p in planes}),
        plan_area=joint.combine({f"plan_area:{p.id}": 1.0 for p in planes}),
        by_pitch=_by_pitch(joint, planes),
        edge_totals={
            kind: joint.combine({f"length:{e.id}": 1.0 for e in edges if e.kind == kind})
            for kind in KIND_ORDER
            if any(e.kind == kind for e in edges)
        },
        budget=_budget(state, solution),
        notices=(
            *state.told,
            *notices(state, planes, edges, len(solution.adjusted.refused), _ambiguous_m(state)),
        ),
        state=state,
    )


def _prior(model: Model, state: RoofState) -> Array:
    covariance = np.zeros((model.size, model.size))
    for k, plane in enumerate(state.planes):
        at = slice(3 * k, 3 * k + 3)
        covariance[at, at] = plane.covariance
    for b, boundary in enumerate(state.topology.boundaries):
        at = slice(3 * model.n_planes + 2 * b, 3 * model.n_planes + 2 * b + 2)
        covariance[at, at] = boundary.covariance + np.diag([state.doubt.edge_m**2, 0.0])
    doubt = state.doubt
    covariance[-len(SHARED) :, -len(SHARED) :] = np.diag(
        np.square([doubt.bleed_m, doubt.scale, doubt.tilt_rad, doubt.tilt_rad])
    )
    return covariance


def _quantities(model: Model, vectors: Array, shape: Shape) -> tuple[dict[str, int], Array]:
    """Everything that is reported, as a function of the vector, shape (b, q)."""
    plan = model.plan_areas(vectors, shape)
    gradient = model.gradients(vectors)[:, model.face_plane]
    steepness = np.hypot(gradient[..., 0], gradient[..., 1])
    azimuth = np.arctan2(-gradient[..., 0], -gradient[..., 1])
    parts = {
        "area": plan * np.sqrt(1 + steepness**2),
        "plan_area": plan,
        "pitch": np.arctan(steepness),
        "rise": 12 * steepness,
        "azimuth": azimuth[:1] + np.remainder(azimuth - azimuth[:1] + np.pi, 2 * np.pi) - np.pi,
        "low": model.lowest(shape),
        "length": model.lengths(vectors, shape),
    }
    widths = np.cumsum([0] + [part.shape[1] for part in parts.values()])
    rows = {name: int(row) for name, row in zip(parts, widths[:-1], strict=True)}
    return rows, np.concatenate(list(parts.values()), axis=1)


def by_number(name: str) -> tuple[int, str]:
    """Order of ids: A, B, ..., Z, AA, ...; e1, e2, ..., e10."""
    return len(name), name


def _planes(state: RoofState, solution: Solution, frame: Frame) -> tuple[Plane, ...]:
    coefficients = solution.model.coefficients(solution.adjusted.vector[None])[0]
    faces = state.topology.faces
    planes = []
    for name in sorted(set(state.plane_ids) - state.excluded, key=by_number):
        f = state.plane_ids.index(name)
        a, b, c = coefficients[faces[f].plane]
        scale = 1 / np.sqrt(1 + a * a + b * b)
        azimuth = solution.measured("azimuth", f, factor=180 / np.pi)
        eave = None
        if frame.ground_z_m is not None:
            low = solution.measured("low", f)
            eave = Measurement.normal(
                low.value - frame.ground_z_m, float(np.hypot(low.u, state.doubt.ground_m))
            )
        planes.append(
            Plane(
                id=name,
                normal=np.array([-a, -b, 1.0]) * scale,
                offset=float(c * scale),
                loops=faces[f].loops,
                area=solution.measured("area", f, floor=0.0),
                plan_area=solution.measured("plan_area", f, floor=0.0),
                pitch_deg=solution.measured("pitch", f, factor=180 / np.pi, floor=0.0),
                rise_in_12=solution.measured("rise", f, floor=0.0),
                # no direction at all: uniform over the circle
                azimuth_deg=Measurement.normal(azimuth.value % 360, min(azimuth.u, 360 / np.sqrt(12))),
                eave_height=eave,
                n_points=state.n_points[f],
                residual_rms_m=state.planes[faces[f].plane].rms_m,
                observed=faces[f].observed,
            )
        )
    return tuple(planes)


def sides(state: RoofState) -> dict[tuple[int, int], list[str]]:
    """Ids of the faces on both sides of each pair of corners."""
    found: dict[tuple[int, int], list[str]] = {}
    for name, face in zip(state.plane_ids, state.topology.faces, strict=True):
        for loop in face.loops:
            for a, b in zip(loop, loop[1:] + loop[:1], strict=True):
                found.setdefault((min(a, b), max(a, b)), []).append(name)
    return found


def _edges(state: RoofState, solution: Solution) -> tuple[Edge, ...]:
    beside = sides(state)
    edges = []
    for name in sorted(state.edge_ids, key=by_number):
        n = state.edge_ids.index(name)
        edge = state.topology.edges[n]
        bounds = set(beside[min(edge.start, edge.end), max(edge.start, edge.end)]) - state.excluded
        if bounds:
            edges.append(
                Edge(
                    id=name,
                    kind=edge.kind,
                    start=edge.start,
                    end=edge.end,
                    length=solution.measured("length", n, floor=0.0),
                    planes=tuple(sorted(bounds, key=by_number)),
                    observed=edge.observed,
                )
            )
    return tuple(edges)


def _joint(state: RoofState, solution: Solution, planes: tuple[Plane, ...], edges: tuple[Edge, ...]) -> Joint:
    names, rows = [], []
    for what in ("area", "plan_area"):
        names += [f"{what}:{p.id}" for p in planes]
        rows += [solution.rows[what] + state.plane_ids.index(p.id) for p in planes]
    names += [f"length:{e.id}" for e in edges]
    rows += [solution.rows["length"] + state.edge_ids.index(e.id) for e in edges]
    return Joint(
        names=tuple(names), values=solution.values[rows], covariance=solution.covariance[np.ix_(rows, rows)]
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


def _budget(state: RoofState, solution: Solution) -> tuple[BudgetShare, ...]:
    """Which source the variance of the total area comes from, largest first."""
    counted = [f for f, name in enumerate(state.plane_ids) if name not in state.excluded]
    total = solution.slope[solution.rows["area"] + np.array(counted)].sum(axis=0)
    model, covariance = solution.model, solution.adjusted.covariance
    at = 3 * model.n_planes
    unseen = [b.observed == 0 for b in state.topology.boundaries]
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
