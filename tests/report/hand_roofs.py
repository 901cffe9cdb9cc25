"""Roofs put together by hand: corners and faces from arithmetic, areas and lengths by definition.

The uncertainties are invented: a scale of 0.2 %, common to all, and 1 cm or 0.05 m² of each quantity's own.
"""

from __future__ import annotations

import math
import string

import numpy as np

from slopewright.measurement import Measurement
from slopewright.roof import BudgetShare, Edge, Frame, Joint, Plane, Roof, RoofObject
from slopewright.scene import EdgeKind, Notice

SCALE_U = 0.002
BUDGET = (
    BudgetShare(source="boundaries", area_share=0.62),
    BudgetShare(source="scale", area_share=0.27),
    BudgetShare(source="planes", area_share=0.11),
)


def ring_vector_area(ring):
    """Half the sum of the cross products of consecutive corners (Newell)."""
    ring = ring - ring[0]
    return np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0) / 2


def build(
    vertices, faces, *, walls=(), observed=None, ground_z=-3.0, origin=(0, 0, 0), name_planes=None, **more
):
    """A Roof of faces, each a list of loops of corner rows.

    `walls` are (kind, start, end, plane index): edges where a plane ends against something that goes up; all
    other edges follow from the faces.
    """
    vertices = np.array(vertices, dtype=float)
    names = name_planes or [*string.ascii_uppercase, *("A" + c for c in string.ascii_uppercase)]
    planes, pairs = [], {}
    for k, loops in enumerate(faces):
        vector = sum(ring_vector_area(vertices[list(loop)]) for loop in loops)
        area = float(np.linalg.norm(vector))
        normal = vector / area
        assert normal[2] > 0
        for loop in loops:
            for a, b in zip(loop, [*loop[1:], loop[0]], strict=True):
                pairs.setdefault(frozenset((a, b)), []).append((k, a, b))
        rise = 12 * math.hypot(*normal[:2]) / normal[2]
        azimuth = math.degrees(math.atan2(normal[0], normal[1])) % 360
        lowest = min(vertices[row, 2] for row in loops[0])
        planes.append(
            Plane(
                id=names[k],
                normal=normal,
                offset=float(normal @ vertices[loops[0][0]]),
                loops=tuple(tuple(loop) for loop in loops),
                area=_area(area),
                plan_area=_area(float(vector[2])),
                pitch_deg=Measurement.normal(math.degrees(math.atan2(rise, 12)), 0.15),
                rise_in_12=Measurement.normal(rise, 0.04),
                azimuth_deg=Measurement.normal(azimuth, 0.3),
                eave_height=None if ground_z is None else Measurement.normal(lowest - ground_z, 0.03),
                n_points=int(20 * area),
                residual_rms_m=0.021,
                observed=(observed or {}).get(names[k], 0.97),
            )
        )
    wall_of = {frozenset(w[1:3]) | {("plane", w[3])}: w[0] for w in walls}
    edges = []
    for pair, uses in pairs.items():
        if len(uses) == 2:
            kind = crease_kind(vertices, planes, uses)
        else:
            ((k, a, b),) = uses
            kind = wall_of.get(pair | {("plane", k)}) or free_kind(vertices, planes[k], a, b)
        _, a, b = uses[0]
        edge_id = f"e{len(edges) + 1}"
        edges.append(
            Edge(
                id=edge_id,
                kind=kind,
                start=a,
                end=b,
                length=_length(float(np.linalg.norm(vertices[b] - vertices[a]))),
                planes=tuple(planes[k].id for k, _, _ in uses),
                observed=(observed or {}).get(edge_id, 0.9),
            )
        )
    joint = joint_of(planes, edges)
    totals = {}
    for kind in EdgeKind:
        lengths = {f"length:{e.id}": 1.0 for e in edges if e.kind == kind}
        if lengths:
            totals[kind] = joint.combine(lengths, floor=0.0)
    pitches = sorted({round(p.rise_in_12.value) for p in planes})
    return Roof(
        frame=Frame(origin=np.array(origin, dtype=float), crs=more.pop("crs", None), ground_z_m=ground_z),
        vertices=vertices,
        planes=tuple(planes),
        edges=tuple(edges),
        joint=joint,
        area=joint.combine({f"area:{p.id}": 1.0 for p in planes}),
        plan_area=joint.combine({f"plan_area:{p.id}": 1.0 for p in planes}),
        by_pitch=tuple(
            (
                pitch,
                joint.combine({f"area:{p.id}": 1.0 for p in planes if round(p.rise_in_12.value) == pitch}),
            )
            for pitch in pitches
        ),
        edge_totals=totals,
        budget=more.pop("budget", BUDGET),
        **more,
    )


def _area(value):
    return Measurement.normal(value, math.hypot(2 * SCALE_U * value, 0.05), floor=0.0)


def _length(value):
    return Measurement.normal(value, math.hypot(SCALE_U * value, 0.01), floor=0.0)


def joint_of(planes, edges):
    """One covariance: the scale common to all, the rest each quantity's own."""
    names = [f"area:{p.id}" for p in planes] + [f"plan_area:{p.id}" for p in planes]
    names += [f"length:{e.id}" for e in edges]
    values = (
        [p.area.value for p in planes] + [p.plan_area.value for p in planes] + [e.length.value for e in edges]
    )
    scale = np.array(values) * SCALE_U * np.repeat([2, 1], [2 * len(planes), len(edges)])
    own = np.repeat([0.05**2, 0.01**2], [2 * len(planes), len(edges)])
    return Joint(
        names=tuple(names), values=np.array(values), covariance=np.outer(scale, scale) + np.diag(own)
    )


def crease_kind(vertices, planes, uses):
    """Ridge or hip when the crease stands above the line between points of both faces, valley when below."""
    (k, a, b), (other, _, _) = uses
    along = (vertices[b] - vertices[a]) / np.linalg.norm(vertices[b] - vertices[a])
    inward = np.cross(planes[k].normal, along)
    if planes[other].normal @ inward > 0:  # the other face turns up towards this one
        return EdgeKind.VALLEY
    level = abs(along[2]) < 0.02
    rises = abs(inward[2]) > 1e-9 and inward[2] > 0
    if level:
        return EdgeKind.PITCH_BREAK if rises else EdgeKind.RIDGE
    return EdgeKind.HIP


def free_kind(vertices, plane, a, b):
    """Eave along the contour, rake along the slope."""
    along = (vertices[b] - vertices[a]) / np.linalg.norm(vertices[b] - vertices[a])
    return EdgeKind.EAVE if abs(along[2]) < 0.02 else EdgeKind.RAKE


def gable(length=12.0, width=8.0, rise=6.0, **more):
    """Two planes over a rectangle, ridge along x."""
    h = width / 2 * rise / 12
    vertices = [
        (0, 0, 0), (length, 0, 0), (length, width / 2, h), (0, width / 2, h),
        (length, width, 0), (0, width, 0),
    ]  # fmt: skip
    return build(vertices, [[[0, 1, 2, 3]], [[3, 2, 4, 5]]], **more)


def gable_with_hole(**more):
    """A gable with a chimney's hole of 1.2 m (across) x 1.0 m (in plan) in plane A."""
    vertices = [
        (0, 0, 0), (12, 0, 0), (12, 4, 2), (0, 4, 2), (12, 8, 0), (0, 8, 0),
        (5, 1.5, 0.75), (6.2, 1.5, 0.75), (6.2, 2.5, 1.25), (5, 2.5, 1.25),
    ]  # fmt: skip
    chimney = RoofObject(id="o1", kind="chimney", plane="A", position=(5.6, 2.0, 1.0), size=(1.2, 1.1))
    walls = [
        (EdgeKind.HEADWALL, 6, 7, 0), (EdgeKind.SIDEWALL, 7, 8, 0),
        (EdgeKind.HEADWALL, 8, 9, 0), (EdgeKind.SIDEWALL, 9, 6, 0),
    ]  # fmt: skip
    faces = [[[0, 1, 2, 3], [6, 9, 8, 7]], [[3, 2, 4, 5]]]
    return build(vertices, faces, walls=walls, objects=(chimney,), **more)


def hip(length=14.0, width=10.0, rise=8.0, **more):
    """Four planes of one pitch over a rectangle."""
    h = width / 2 * rise / 12
    w = width / 2
    vertices = [(0, 0, 0), (length, 0, 0), (length, width, 0), (0, width, 0), (w, w, h), (length - w, w, h)]
    return build(vertices, [[[0, 1, 5, 4]], [[1, 2, 5]], [[2, 3, 4, 5]], [[3, 0, 4]]], **more)


def cross_gable(**more):
    """A gable of 14 x 8 m at 6/12 and a wing, 6 m wide and 4 m out, of the same pitch: two valleys."""
    vertices = [
        (0, 0, 0), (4, 0, 0), (10, 0, 0), (14, 0, 0), (14, 4, 2), (0, 4, 2), (14, 8, 0), (0, 8, 0),
        (7, 3, 1.5), (4, -4, 0), (10, -4, 0), (7, -4, 1.5),
    ]  # fmt: skip
    faces = [
        [[0, 1, 8, 2, 3, 4, 5]],
        [[5, 4, 6, 7]],
        [[1, 9, 11, 8]],
        [[2, 8, 11, 10]],
    ]
    return build(vertices, faces, **more)


def two_level(**more):
    """A gable whose long wall stands on a lower shed: a headwall below an eave."""
    vertices = [
        (0, 0, 3), (12, 0, 3), (12, 4, 5), (0, 4, 5), (12, 8, 3), (0, 8, 3),
        (2, -3, 1), (9, -3, 1), (9, 0, 2), (2, 0, 2),
    ]  # fmt: skip
    faces = [[[0, 1, 2, 3]], [[3, 2, 4, 5]], [[6, 7, 8, 9]]]
    return build(vertices, faces, walls=[(EdgeKind.HEADWALL, 8, 9, 2)], **more)


def dormered_hip(n_a_side=5, **more):
    """A hip roof of 24 x 14 m at 9/12 with gable dormers on both long sides: 4 + 4 n planes."""
    length, width, rise = 24.0, 14.0, 9 / 12
    h, w = width / 2 * rise, width / 2
    vertices = [(0, 0, 0), (length, 0, 0), (length, width, 0), (0, width, 0), (w, w, h), (length - w, w, h)]
    faces = [[[0, 1, 5, 4]], [[1, 2, 5]], [[2, 3, 4, 5]], [[3, 0, 4]]]
    walls = []
    front, half, head, slope = (
        1.2,
        0.9,
        1.1,
        8 / 12,
    )  # dormer: its front's place, half width, wall height, pitch
    eave_z = front * rise + head
    top_z = eave_z + half * slope
    for side in (0, 2):
        for i in range(n_a_side):
            x = length * (i + 0.5) / n_a_side * 0.62 + length * 0.19

            def place(dx, y, z, side=side, x=x):
                return (x + dx, y, z) if side == 0 else (x - dx, width - y, z)

            n = len(vertices)
            vertices += [
                place(-half, front, front * rise), place(half, front, front * rise),  # foot of the front
                place(half, eave_z / rise, eave_z), place(0, top_z / rise, top_z),
                place(-half, eave_z / rise, eave_z),
                place(-half, front, eave_z), place(half, front, eave_z), place(0, front, top_z),
            ]  # fmt: skip
            faces[side].append([n, n + 4, n + 3, n + 2, n + 1])
            faces.append([[n + 4, n + 5, n + 7, n + 3]])
            faces.append([[n + 2, n + 3, n + 7, n + 6]])
            walls += [
                (EdgeKind.HEADWALL, n, n + 1, side), (EdgeKind.SIDEWALL, n + 1, n + 2, side),
                (EdgeKind.SIDEWALL, n + 4, n, side),
            ]  # fmt: skip
    return build(vertices, faces, walls=walls, **more)


ALL = {
    "gable": gable,
    "gable_with_hole": gable_with_hole,
    "hip": hip,
    "cross_gable": cross_gable,
    "two_level": two_level,
    "dormered_hip": dormered_hip,
}

UNSEEN = Notice(code="inferred_edge", text="edge e2 lies under a tree", about=("e2",))
