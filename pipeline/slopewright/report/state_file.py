"""state.json: what the numbers of roof.json follow from, as measured, and the journal of edits since.

Numbers keep all their digits: from this file the same roof is made again, to the last bit.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..scene import (
    Array,
    Boundary,
    Corner,
    Curve,
    EdgeKind,
    Notice,
    PlaneSegment,
    PlanVertex,
    Topology,
    TracedEdge,
    TracedFace,
)
from ..state import Doubt, Edit, Frame, RoofState
from .journal import journal_from_json, journal_json
from .jsonfile import Field

FORMAT = "slopewright-state"
VERSION = 1
KINDS = frozenset(EdgeKind)


def state_json(state: RoofState, frame: Frame) -> dict[str, Any]:
    """The content of state.json.

    Parameters
    ----------
    state : RoofState
        Of the roof as it is.
    frame : Frame
        The roof's.
    """
    measured = state.measured or state
    topology = measured.topology
    doubt = measured.doubt
    return {
        "format": FORMAT,
        "version": VERSION,
        "frame": {"origin": frame.origin.tolist(), "crs": frame.crs, "ground_z": frame.ground_z_m},
        "doubt": {
            "bleed": doubt.bleed_m,
            "edge": doubt.edge_m,
            "scale": doubt.scale,
            "tilt": doubt.tilt_rad,
            "ground": doubt.ground_m,
        },
        "planes": [
            {
                "centroid": plane.centroid.tolist(),
                "normal": plane.normal.tolist(),
                "covariance": plane.covariance.tolist(),
                "points": plane.n_points,
                "rms": plane.rms_m,
                "area": plane.area_m2,
                "cells": cells.tolist(),
            }
            for plane, cells in zip(measured.planes, measured.cells, strict=True)
        ],
        "boundaries": [
            {
                "point": boundary.point.tolist(),
                "angle": boundary.angle_rad,
                "covariance": boundary.covariance.tolist(),
                "observed": boundary.observed,
                "inferred_from": boundary.inferred_from,
            }
            for boundary in topology.boundaries
        ],
        "vertices": [
            {"curves": [_curve(curve) for curve in vertex.curves], "xy": vertex.xy.tolist()}
            for vertex in topology.vertices
        ],
        "corners": [{"vertex": corner.vertex, "planes": list(corner.planes)} for corner in topology.corners],
        "edges": [
            {
                "id": name,
                "kind": str(edge.kind),
                "corners": [edge.start, edge.end],
                "planes": list(edge.planes),
                "curve": _curve(edge.curve),
                "observed": edge.observed,
                "ambiguous": edge.ambiguous_m,
            }
            for name, edge in zip(measured.edge_ids, topology.edges, strict=True)
        ],
        "faces": [
            {
                "id": name,
                "plane": face.plane,
                "loops": [list(loop) for loop in face.loops],
                "observed": face.observed,
                "points": n_points,
            }
            for name, face, n_points in zip(
                measured.plane_ids, topology.faces, measured.n_points, strict=True
            )
        ],
        "warnings": [
            {"code": notice.code, "text": notice.text, "about": list(notice.about)}
            for notice in measured.told
        ],
        "journal": journal_json(state.journal),
    }


def state_from_json(content: Any, *, file: str) -> tuple[RoofState, Frame, tuple[Edit, ...]]:
    """The state that was measured, its frame, and the edits since.

    Raises
    ------
    InputError
        If a field is missing, of a wrong kind, or names what is not there.
    """
    root = Field(file, content)
    root.header(FORMAT, VERSION)
    planes = list(root["planes"])
    sizes = {
        name: len(list(root[name]))
        for name in ("planes", "boundaries", "vertices", "corners", "edges", "faces")
    }
    for name in ("planes", "corners", "edges", "faces"):
        if not sizes[name]:
            root[name].fail("one at least")
    topology = Topology(
        boundaries=tuple(_boundary(field) for field in root["boundaries"]),
        vertices=tuple(
            PlanVertex(
                curves=tuple(_curve_of(curve, sizes) for curve in field["curves"]),
                xy=np.array(field["xy"].vector(2)),
            )
            for field in root["vertices"]
        ),
        corners=tuple(
            Corner(
                vertex=_row(field["vertex"], sizes["vertices"]),
                planes=_rows(field["planes"], sizes["planes"]),
            )
            for field in root["corners"]
        ),
        edges=tuple(_edge(field, sizes) for field in root["edges"]),
        faces=tuple(_face(field, sizes) for field in root["faces"]),
    )
    plane_ids = tuple(field["id"].text() for field in root["faces"])
    edge_ids = tuple(field["id"].text() for field in root["edges"])
    for name, ids in (("faces", plane_ids), ("edges", edge_ids)):
        if len(set(ids)) != len(ids):
            root[name].fail("each id once")
    sides = {
        frozenset(pair)
        for face in topology.faces
        for loop in face.loops
        for pair in zip(loop, loop[1:] + loop[:1], strict=True)
    }
    for edge, field in zip(topology.edges, root["edges"], strict=True):
        if frozenset((edge.start, edge.end)) not in sides:
            field.fail("an edge between two corners that follow each other in a face")
    doubt, frame = root["doubt"], root["frame"]
    state = RoofState(
        planes=tuple(_plane(field) for field in planes),
        cells=tuple(_cells(field["cells"]) for field in planes),
        topology=topology,
        plane_ids=plane_ids,
        edge_ids=edge_ids,
        n_points=tuple(field["points"].integer() for field in root["faces"]),
        doubt=Doubt(
            bleed_m=doubt["bleed"].number(0.0),
            edge_m=doubt["edge"].number(0.0),
            scale=doubt["scale"].number(0.0),
            tilt_rad=doubt["tilt"].number(0.0),
            ground_m=doubt["ground"].number(0.0),
        ),
        told=tuple(
            Notice(code=n["code"].text(), text=n["text"].text(), about=n["about"].texts())
            for n in root["warnings"]
        ),
        next_plane=len(plane_ids),
        next_edge=len(edge_ids) + 1,
    )
    crs, ground = frame["crs"], frame["ground_z"]
    return (
        state,
        Frame(
            origin=np.array(frame["origin"].vector(3)),
            crs=None if crs.value is None else crs.text(),
            ground_z_m=None if ground.value is None else ground.number(),
        ),
        journal_from_json(root["journal"]),
    )


def _covariance(field: Field, n: int) -> Array:
    rows = [row.vector(n) for row in field]
    matrix = np.array(rows, dtype=np.float64)
    if len(rows) != n or not np.allclose(matrix, matrix.T, rtol=1e-6, atol=0.0):
        field.fail(f"a symmetric matrix of {n} rows")
    if float(np.linalg.eigvalsh(matrix)[0]) < -1e-9 * float(np.trace(matrix)):
        field.fail("a covariance, without a negative eigenvalue")
    return matrix


def _curve(curve: Curve) -> dict[str, Any]:
    return {"boundary": curve.boundary} if curve.planes is None else {"planes": list(curve.planes)}


def _curve_of(field: Field, sizes: dict[str, int]) -> Curve:
    if "boundary" in field.members():
        return Curve(boundary=_row(field["boundary"], sizes["boundaries"]))
    pair = _rows(field["planes"], sizes["planes"])
    if len(pair) != 2 or not pair[0] < pair[1]:
        field["planes"].fail("two planes, the lower number first")
    return Curve(planes=(pair[0], pair[1]))


def _row(field: Field, n: int) -> int:
    row = field.integer()
    if row >= n:
        field.fail(f"a number below {n}")
    return row


def _rows(field: Field, n: int) -> tuple[int, ...]:
    rows = tuple(_row(item, n) for item in field)
    if not rows:
        field.fail("one at least")
    return rows


def _plane(field: Field) -> PlaneSegment:
    normal = np.array(field["normal"].vector(3))
    if abs(float(normal @ normal) - 1) > 1e-6 or normal[2] <= 0:
        field["normal"].fail("a unit vector that points up")
    return PlaneSegment(
        centroid=np.array(field["centroid"].vector(3)),
        normal=normal,
        covariance=_covariance(field["covariance"], 3),
        n_points=field["points"].integer(),
        rms_m=field["rms"].number(0.0),
        area_m2=field["area"].number(0.0),
    )


def _cells(field: Field) -> Array:
    return np.array([row.vector(4) for row in field], dtype=np.float64).reshape(-1, 4)


def _boundary(field: Field) -> Boundary:
    return Boundary(
        point=np.array(field["point"].vector(2)),
        angle_rad=field["angle"].number(),
        covariance=_covariance(field["covariance"], 2),
        observed=field["observed"].number(0.0, 1.0),
        inferred_from=field["inferred_from"].text(),
    )


def _edge(field: Field, sizes: dict[str, int]) -> TracedEdge:
    ends = _rows(field["corners"], sizes["corners"])
    if len(ends) != 2 or ends[0] == ends[1]:
        field["corners"].fail("two corners")
    return TracedEdge(
        kind=EdgeKind(field["kind"].one_of(KINDS)),
        start=ends[0],
        end=ends[1],
        planes=_rows(field["planes"], sizes["planes"]),
        curve=_curve_of(field["curve"], sizes),
        observed=field["observed"].number(0.0, 1.0),
        ambiguous_m=field["ambiguous"].number(0.0),
    )


def _face(field: Field, sizes: dict[str, int]) -> TracedFace:
    loops = tuple(_rows(loop, sizes["corners"]) for loop in field["loops"])
    if not loops or min(len(set(loop)) for loop in loops) < 3:
        field["loops"].fail("loops of three corners or more")
    return TracedFace(
        plane=_row(field["plane"], sizes["planes"]), loops=loops, observed=field["observed"].number(0.0, 1.0)
    )
