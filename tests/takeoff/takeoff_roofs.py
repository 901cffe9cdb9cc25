"""Roofs built by hand, in feet, whose every area and length is known exactly, and requests on them."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import numpy as np

from slopewright import takeoff
from slopewright.job.systems import find_system, read_system
from slopewright.measurement import Measurement
from slopewright.roof import (
    Edge,
    Frame,
    Joint,
    Plane,
    Roof,
    RoofObject,
    Scope,
    Site,
    Takeoff,
    TakeoffLine,
    TakeoffRequest,
)
from slopewright.scene import EdgeKind
from slopewright.units import FOOT_M

SYSTEMS = Path(__file__).parents[2] / "configs" / "systems"


def system_document(name: str = "composition-laminated") -> dict:
    return read_system(find_system(name))


@cache
def system(name: str = "composition-laminated") -> takeoff.System:
    return takeoff.system_from_toml(system_document(name), file=f"{name}.toml")


def layer_of(document: dict, item: str) -> dict:
    return next(layer for layer in document["layer"] if layer["item"] == item)


def take(roof: Roof, *, using: takeoff.System | None = None, seed: int = 1, **request: object) -> Takeoff:
    """Take off with site and scope given as their fields."""
    site = Site(**{k: request.pop(k) for k in list(request) if k in Site.__dataclass_fields__})
    scope = Scope(**{k: request.pop(k) for k in list(request) if k in Scope.__dataclass_fields__})
    wanted = TakeoffRequest(site=site, scope=scope, **request)
    return takeoff.run(roof, using or system(), wanted, rng=np.random.default_rng(seed))


def line(result: Takeoff, item: str) -> TakeoffLine:
    found = [one for one in result.lines if one.item == item]
    assert len(found) == 1, f"{item}: {len(found)} lines"
    return found[0]


def has(result: Takeoff, item: str) -> bool:
    return any(one.item == item for one in result.lines)


def build_roof(
    corners_ft: list[tuple[float, float, float]],
    faces: dict[str, list[int]],
    edges: list[tuple[str, int, int, str | tuple[str, ...]]],
    *,
    scale_u: float = 0.0,
    corner_u_m: float = 0.0,
    line_u_m: float = 0.0,
    rise_u: float = 0.0,
    ground_ft: float | None = None,
    objects: tuple[RoofObject, ...] = (),
) -> Roof:
    """A roof with the exact joint covariance of one common scale and of corner coordinates.

    `scale_u` is the relative standard uncertainty of all lengths together, `corner_u_m` of each coordinate by
    itself, `line_u_m` of each line: of all corners that have a coordinate in common.
    """
    corners = np.array(corners_ft, dtype=np.float64) * FOOT_M
    names = [f"area:{k}" for k in faces] + [f"plan_area:{k}" for k in faces]
    names += [f"length:e{i + 1}" for i in range(len(edges))]

    def quantities(xyz: np.ndarray) -> np.ndarray:
        vectors = [_area_vector(xyz[loop]) for loop in faces.values()]
        lengths = [np.linalg.norm(xyz[b] - xyz[a]) for _, a, b, _ in edges]
        return np.array([np.linalg.norm(v) for v in vectors] + [v[2] for v in vectors] + lengths)

    values = quantities(corners)
    powers = np.array([2.0] * (2 * len(faces)) + [1.0] * len(edges))
    jacobian = np.zeros((len(names), corners.size))
    for i in range(corners.size if corner_u_m or line_u_m else 0):
        step = np.zeros(corners.size)
        step[i] = 1e-4
        step = step.reshape(corners.shape)
        jacobian[:, i] = (quantities(corners + step) - quantities(corners - step)) / 2e-4
    covariance = scale_u**2 * np.outer(powers * values, powers * values)
    covariance += corner_u_m**2 * jacobian @ jacobian.T
    by_line = jacobian @ lines_of(corners)
    covariance += line_u_m**2 * by_line @ by_line.T
    joint = Joint(names=tuple(names), values=values, covariance=covariance)

    planes = []
    for name, loop in faces.items():
        vector = _area_vector(corners[loop])
        normal = vector / np.linalg.norm(vector)
        pitch = math.atan2(math.hypot(normal[0], normal[1]), normal[2])
        lowest = float(corners[loop, 2].min())
        height = None if ground_ft is None else lowest - ground_ft * FOOT_M
        planes.append(
            Plane(
                id=name,
                normal=normal,
                offset=float(normal @ corners[loop[0]]),
                loops=(tuple(loop),),
                area=joint.combine({f"area:{name}": 1.0}),
                plan_area=joint.combine({f"plan_area:{name}": 1.0}),
                pitch_deg=Measurement.normal(math.degrees(pitch), 0.0),
                rise_in_12=Measurement.normal(12 * math.tan(pitch), rise_u),
                azimuth_deg=Measurement.normal(math.degrees(math.atan2(normal[0], normal[1])) % 360, 0.0),
                eave_height=None if height is None else Measurement.normal(height, 0.0),
                n_points=1000,
                residual_rms_m=0.02,
                observed=1.0,
            )
        )
    return Roof(
        frame=Frame(origin=np.zeros(3)),
        vertices=corners,
        planes=tuple(planes),
        edges=tuple(
            Edge(
                id=f"e{i + 1}",
                kind=EdgeKind(kind),
                start=a,
                end=b,
                length=joint.combine({f"length:e{i + 1}": 1.0}),
                planes=tuple(on),
                observed=1.0,
            )
            for i, (kind, a, b, on) in enumerate(edges)
        ),
        objects=objects,
        joint=joint,
        area=joint.combine({f"area:{k}": 1.0 for k in faces}),
        plan_area=joint.combine({f"plan_area:{k}": 1.0 for k in faces}),
        by_pitch=(),
        edge_totals={},
    )


def gable(length: float, run: float, rise_in_12: float, *, eave: float = 9.0, **more: object) -> Roof:
    """Two planes `length` by `run` in plan [ft], A to the south, B to the north."""
    top = eave + run * rise_in_12 / 12
    corners = [(0, 0, eave), (length, 0, eave), (length, run, top), (0, run, top)]
    corners += [(length, 2 * run, eave), (0, 2 * run, eave)]
    edges = [("eave", 0, 1, "A"), ("rake", 1, 2, "A"), ("ridge", 2, 3, "AB"), ("rake", 3, 0, "A")]
    edges += [("rake", 2, 4, "B"), ("eave", 4, 5, "B"), ("rake", 5, 3, "B")]
    return build_roof(corners, {"A": [0, 1, 2, 3], "B": [3, 2, 4, 5]}, edges, **more)


def hip(length: float, span: float, rise_in_12: float, **more: object) -> Roof:
    """Regular hip roof: trapezoids A, C and triangles B, D [ft]."""
    h, top = span / 2, span / 2 * rise_in_12 / 12
    corners = [(0, 0, 0), (length, 0, 0), (length, span, 0), (0, span, 0), (h, h, top), (length - h, h, top)]
    faces = {"A": [0, 1, 5, 4], "B": [1, 2, 5], "C": [2, 3, 4, 5], "D": [3, 0, 4]}
    edges = [("eave", 0, 1, "A"), ("eave", 1, 2, "B"), ("eave", 2, 3, "C"), ("eave", 3, 0, "D")]
    edges += [("hip", 0, 4, "AD"), ("hip", 1, 5, "AB"), ("hip", 2, 5, "BC"), ("hip", 3, 4, "CD")]
    edges += [("ridge", 4, 5, "AC")]
    return build_roof(corners, faces, edges, **more)


def lean_to(width: float, slope_length: float, rise_in_12: float, **more: object) -> Roof:
    """One plane: eave below, rake left, sidewall right, headwall above; `slope_length` on the slope [ft]."""
    pitch = math.atan2(rise_in_12, 12)
    run, rise = slope_length * math.cos(pitch), slope_length * math.sin(pitch)
    corners = [(0, 0, 9), (width, 0, 9), (width, run, 9 + rise), (0, run, 9 + rise)]
    edges = [("eave", 0, 1, "A"), ("sidewall", 1, 2, "A"), ("headwall", 2, 3, "A"), ("rake", 3, 0, "A")]
    return build_roof(corners, {"A": [0, 1, 2, 3]}, edges, **more)


def valley_pair(side: float, rise_in_12: float, **more: object) -> Roof:
    """z = rise/12 max(x, y) over a square [ft]: two planes that meet in a valley on the diagonal."""
    top = side * rise_in_12 / 12
    corners = [(0, 0, 0), (side, 0, top), (side, side, top), (0, side, top)]
    edges = [("rake", 0, 1, "A"), ("ridge", 1, 2, "A"), ("valley", 0, 2, "AB"), ("ridge", 2, 3, "B")]
    edges += [("rake", 3, 0, "B")]
    return build_roof(corners, {"A": [0, 1, 2], "B": [0, 2, 3]}, edges, **more)


def inside_corner(south: float, west: float, run: float, rise_in_12: float, **more: object) -> Roof:
    """A re-entrant corner: A falls south over `south` of eave, B west over `west`, a valley between [ft]."""
    top = 9 + run * rise_in_12 / 12
    corners = [(0, 0, 9), (south, 0, 9), (south + run, run, top), (0, run, top)]
    corners += [(south, -west, 9), (south + run, -west, top)]
    edges = [("eave", 0, 1, "A"), ("valley", 1, 2, "AB"), ("ridge", 2, 3, "A"), ("rake", 3, 0, "A")]
    edges += [("eave", 4, 1, "B"), ("rake", 4, 5, "B"), ("ridge", 5, 2, "B")]
    return build_roof(corners, {"A": [0, 1, 2, 3], "B": [1, 4, 5, 2]}, edges, **more)


def with_corners(roof: Roof, corners_ft: np.ndarray, **more: object) -> Roof:
    """The roof with its corners elsewhere, shape (v, 3) [ft]."""
    faces = {plane.id: list(plane.loops[0]) for plane in roof.planes}
    edges = [(str(edge.kind), edge.start, edge.end, edge.planes) for edge in roof.edges]
    return build_roof([tuple(corner) for corner in corners_ft], faces, edges, **more)


def lines_of(corners: np.ndarray) -> np.ndarray:
    """Which coordinates (rows, corner by corner) move with which line, shape (3 v, lines)."""
    keys = [(axis, round(float(value), 6)) for corner in corners for axis, value in enumerate(corner)]
    distinct = sorted(set(keys))
    return np.array([[key == line for line in distinct] for key in keys], dtype=np.float64)


def _area_vector(ring: np.ndarray) -> np.ndarray:
    centred = ring - ring.mean(axis=0)
    return np.cross(centred, np.roll(centred, -1, axis=0)).sum(axis=0) / 2
