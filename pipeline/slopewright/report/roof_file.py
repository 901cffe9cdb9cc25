"""roof.json: the measured roof as other programs read it, and back (contract: schemas/roof.schema.json)."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from ..errors import InputError
from ..geometry.polygon import polygon_area
from ..roof import BudgetShare, Edge, Frame, Joint, Plane, Roof, RoofObject
from ..scene import Array, EdgeKind, Notice
from .joint_file import fully_correlated, joint_from_json, quantities
from .jsonfile import Field, measurement_json, rounded
from .text import plain_text

FORMAT = "slopewright-roof"
VERSION = 1
NOTE = "coordinates are origin + xyz, z up"
NORMAL_DECIMALS = 9  # a plane 50 m from the origin stays in place within a tenth of a micrometre
UNIT_NORMAL_SLACK = 1e-4  # how far from 1 the length of a normal of another program may be
SIZE_SHARE = 0.05  # by so much an area or a length may differ from what the corners give
AREA_SLACK_M2, LENGTH_SLACK_M = 0.2, 0.05  # and by this in addition, for slivers
KINDS = frozenset(EdgeKind)
OBJECT_KINDS = frozenset({"chimney", "vent", "pipe", "skylight", "unknown"})


def roof_json(roof: Roof) -> dict[str, Any]:
    """The content of roof.json.

    Parameters
    ----------
    roof : Roof
        In local metres.

    Returns
    -------
    dict
        As DESIGN's contract and `schemas/roof.schema.json` have it; numbers rounded to 1e-6.

    Raises
    ------
    ValueError
        If a number of the roof is not finite.
    """
    return {
        "format": FORMAT,
        "version": VERSION,
        "frame": {
            "unit": "m",
            "crs": roof.frame.crs,
            "origin": _point(roof.frame.origin),
            "note": NOTE,
        },
        "planes": [_plane_json(roof, plane) for plane in roof.planes],
        "edges": [
            {
                "id": edge.id,
                "kind": str(edge.kind),
                "start": _point(roof.vertices[edge.start]),
                "end": _point(roof.vertices[edge.end]),
                "length": measurement_json(edge.length),
                "planes": list(edge.planes),
                "observed": rounded(edge.observed),
            }
            for edge in roof.edges
        ],
        "objects": [
            {
                "id": thing.id,
                "kind": thing.kind,
                "plane": thing.plane,
                "position": _point(thing.position),
                "size": [rounded(side) for side in thing.size],
            }
            for thing in roof.objects
        ],
        "totals": {
            "area": measurement_json(roof.area),
            "plan_area": measurement_json(roof.plan_area),
            "by_pitch": [{"rise_in_12": p, "area": measurement_json(a)} for p, a in roof.by_pitch],
            "edges": {str(kind): measurement_json(total) for kind, total in roof.edge_totals.items()},
        },
        "budget": [{"source": b.source, "area_share": rounded(b.area_share)} for b in roof.budget],
        "warnings": [{"code": n.code, "text": n.text, "about": list(n.about)} for n in roof.notices],
    }


def _point(point: Any) -> list[float]:
    return [rounded(c) for c in point]


def _plane_json(roof: Roof, plane: Plane) -> dict[str, Any]:
    rings = [[_point(corner) for corner in roof.ring(loop)] for loop in plane.loops]
    return {
        "id": plane.id,
        "normal": [rounded(c, NORMAL_DECIMALS) for c in plane.normal],
        "offset": rounded(plane.offset),
        "outline": rings[0],
        "holes": rings[1:],
        "area": measurement_json(plane.area),
        "plan_area": measurement_json(plane.plan_area),
        "pitch_deg": measurement_json(plane.pitch_deg),
        "rise_in_12": measurement_json(plane.rise_in_12),
        "azimuth_deg": measurement_json(plane.azimuth_deg),
        "eave_height": None if plane.eave_height is None else measurement_json(plane.eave_height),
        "points": plane.n_points,
        "residual_rms": rounded(plane.residual_rms_m),
        "observed": rounded(plane.observed),
    }


def roof_from_json(content: Any, *, file: str, covariance: Any = None, covariance_file: str = "") -> Roof:
    """The roof of a roof.json, ours or another program's.

    Parameters
    ----------
    content : dict
        As read from the file.
    file : str
        Its name, for messages.
    covariance : dict, optional
        The content of the covariance.json beside it.  Without it areas and lengths are taken as fully
        correlated, the widest a sum's bound can be, and a notice says so.
    covariance_file : str, optional
        Its name, for messages.

    Returns
    -------
    Roof
        Corners at one spot (to 1e-6 m) are one row of `vertices`.

    Raises
    ------
    InputError
        If a field is missing, of a wrong kind, or contradicts another.
    """
    root = Field(file, content)
    root.header(FORMAT, VERSION)
    corners = _Corners()
    planes = tuple(_plane(field, corners) for field in root["planes"])
    if not planes:
        root["planes"].fail("one plane at least")
    edges = tuple(_edge(field, corners) for field in root["edges"])
    objects = tuple(_object(field) for field in root["objects"])
    _check_ids(root, planes, edges, objects)
    vertices = np.array(corners.points, dtype=np.float64)
    _check_sizes(root, planes, edges, vertices)

    totals = root["totals"]
    wanted = quantities(planes, edges)
    notices = tuple(
        Notice(code=n["code"].text(), text=n["text"].text(), about=n["about"].texts())
        for n in root["warnings"]
    )
    joint: Joint
    if covariance is None:
        joint, notice = fully_correlated(wanted, file)
        notices = (*(n for n in notices if n.code != notice.code), notice)
    else:
        joint = joint_from_json(covariance, wanted, file=covariance_file or f"covariance of {file}")
    return Roof(
        frame=_frame(root["frame"], planes, vertices),
        vertices=vertices,
        planes=planes,
        edges=edges,
        objects=objects,
        joint=joint,
        area=totals["area"].measurement(),
        plan_area=totals["plan_area"].measurement(),
        by_pitch=tuple((p["rise_in_12"].integer(), p["area"].measurement()) for p in totals["by_pitch"]),
        edge_totals={
            _kind(totals["edges"], k): totals["edges"][k].measurement() for k in totals["edges"].members()
        },
        budget=tuple(
            BudgetShare(source=b["source"].text(), area_share=b["area_share"].number(0.0, 1.0))
            for b in root["budget"]
        ),
        notices=notices,
    )


class _Corners:
    """Rows of `Roof.vertices`, one a spot."""

    def __init__(self) -> None:
        self.points: list[tuple[float, ...]] = []
        self._row: dict[tuple[float, ...], int] = {}

    def row(self, field: Field) -> int:
        point = tuple(rounded(c) for c in field.vector(3))
        if point not in self._row:
            self._row[point] = len(self.points)
            self.points.append(point)
        return self._row[point]

    def loop(self, field: Field, *, counter_clockwise: bool) -> tuple[int, ...]:
        rows = [self.row(corner) for corner in field]
        rows = [row for i, row in enumerate(rows) if row != rows[i - 1]]  # a ring that repeats its start
        if len(set(rows)) < 3:
            field.fail("three different corners or more")
        x, y = np.array([self.points[row][:2] for row in rows]).T
        x, y = x - x[0], y - y[0]
        signed = float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
        return tuple(rows if (signed > 0) == counter_clockwise else rows[::-1])


def _plane(field: Field, corners: _Corners) -> Plane:
    normal: Array = np.array(field["normal"].vector(3))
    length = float(np.linalg.norm(normal))
    if abs(length - 1) > UNIT_NORMAL_SLACK or normal[2] <= 0:
        field["normal"].fail("a unit vector that points up")
    loops = (
        corners.loop(field["outline"], counter_clockwise=True),
        *(corners.loop(hole, counter_clockwise=False) for hole in field["holes"]),
    )
    return Plane(
        id=field["id"].text(),
        normal=normal / length,
        offset=field["offset"].number(),
        loops=loops,
        area=field["area"].measurement(),
        plan_area=field["plan_area"].measurement(),
        pitch_deg=field["pitch_deg"].measurement(),
        rise_in_12=field["rise_in_12"].measurement(),
        azimuth_deg=field["azimuth_deg"].measurement(),
        eave_height=None if field["eave_height"].value is None else field["eave_height"].measurement(),
        n_points=field["points"].integer(),
        residual_rms_m=field["residual_rms"].number(0.0),
        observed=field["observed"].number(0.0, 1.0),
    )


def _edge(field: Field, corners: _Corners) -> Edge:
    start, end = corners.row(field["start"]), corners.row(field["end"])
    if start == end:
        field["end"].fail("another spot than start")
    return Edge(
        id=field["id"].text(),
        kind=EdgeKind(field["kind"].one_of(KINDS)),
        start=start,
        end=end,
        length=field["length"].measurement(),
        planes=field["planes"].texts(),
        observed=field["observed"].number(0.0, 1.0),
    )


def _object(field: Field) -> RoofObject:
    x, y, z = field["position"].vector(3)
    u, v = field["size"].vector(2)
    return RoofObject(
        id=field["id"].text(),
        kind=field["kind"].one_of(OBJECT_KINDS),
        plane=field["plane"].text(),
        position=(x, y, z),
        size=(u, v),
    )


def _kind(field: Field, name: str) -> EdgeKind:
    return EdgeKind(Field(field.file, name, f"{field.path}: a key").one_of(KINDS))


def _frame(field: Field, planes: tuple[Plane, ...], vertices: Array) -> Frame:
    """The frame; the ground's level follows from an eave height, which stands over it."""
    if field["unit"].value != "m":
        field["unit"].fail('"m": roof.json is metric')
    crs = None if field["crs"].value is None else field["crs"].text()
    ground_z_m = None
    for plane in planes:
        if plane.eave_height is not None:
            lowest = min(float(vertices[row, 2]) for row in plane.loops[0])
            ground_z_m = rounded(lowest - plane.eave_height.value)
            break
    return Frame(origin=np.array(field["origin"].vector(3)), crs=crs, ground_z_m=ground_z_m)


def _check_sizes(root: Field, planes: tuple[Plane, ...], edges: tuple[Edge, ...], vertices: Array) -> None:
    """Areas and lengths against the corners: a file in feet, or with areas in plan, is found out here."""
    for i, plane in enumerate(planes):
        rings = [vertices[list(loop)] for loop in plane.loops]
        enclosed = polygon_area(rings[0], rings[1:])
        if abs(plane.area.value - enclosed) > SIZE_SHARE * enclosed + AREA_SLACK_M2:
            root["planes"].at(i)["area"]["value"].fail(f"about {enclosed:.4g} m², as its outline encloses")
    for i, edge in enumerate(edges):
        distance = float(np.linalg.norm(vertices[edge.end] - vertices[edge.start]))
        if abs(edge.length.value - distance) > SIZE_SHARE * distance + LENGTH_SLACK_M:
            root["edges"].at(i)["length"]["value"].fail(f"about {distance:.4g} m, from start to end")


def _check_ids(
    root: Field, planes: tuple[Plane, ...], edges: tuple[Edge, ...], objects: tuple[RoofObject, ...]
) -> None:
    """Every id once, and no reference to a plane that is not there."""
    ids = [p.id for p in planes] + [e.id for e in edges] + [o.id for o in objects]
    for name, count in Counter(ids).items():
        if count > 1:
            raise InputError(f"{root.file}: id {plain_text(name)!r} stands {count} times, need each id once")
    known = {plane.id for plane in planes}
    for i, edge in enumerate(edges):
        if not known.issuperset(edge.planes):
            root["edges"].at(i)["planes"].fail("ids of planes of this file")
    for i, thing in enumerate(objects):
        if thing.plane not in known:
            root["objects"].at(i)["plane"].fail("the id of a plane of this file")
