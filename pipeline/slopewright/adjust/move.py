"""A boundary that is moved takes all its edges with it, and leaves corners that it shared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..errors import InputError
from ..scene import Array, Boundary, Curve, EdgeKind, TracedEdge
from ..state import MoveBoundary, PlaceBoundary, RoofState
from .measure import Solution
from .net import Net, sides

TURN_SD_RAD = float(np.deg2rad(1.0))  # of a boundary that is known at one spot


def boundary_of(state: RoofState, edge: str) -> int:
    """The boundary that an edge lies on.

    Raises
    ------
    InputError
        If it is a crease: planes place it, not a line of its own.
    """
    boundary = state.topology.edges[state.edge_ids.index(edge)].curve.boundary
    if boundary is None:
        raise InputError(f"edge {edge}: two planes meet there and place it, need a free edge")
    return boundary


def move(state: RoofState, edit: MoveBoundary, solution: Solution) -> RoofState:
    """The state with the boundary of an edge moved out of the face that ends there."""
    b = boundary_of(state, edit.edge)
    old = _adjusted(state.topology.boundaries[b], solution, b)
    normal = np.array([np.cos(old.angle_rad), np.sin(old.angle_rad)])
    edge = state.topology.edges[state.edge_ids.index(edit.edge)]
    along_normal_m = _points_out(Net(state), edge, normal) * edit.by_m
    return _placed(state, b, replace(old, point=old.point + along_normal_m * normal), along_normal_m)


def force(state: RoofState, edit: PlaceBoundary, solution: Solution) -> RoofState:
    """The state with a boundary where it was seen, in place of what the points say of it."""
    b = boundary_of(state, edit.edge)
    old = _adjusted(state.topology.boundaries[b], solution, b)
    normal = np.array([np.cos(old.angle_rad), np.sin(old.angle_rad)])
    away = float((np.array(edit.xy) - old.point) @ normal)
    turn = float(old.covariance[1, 1])
    new = replace(
        old,
        point=np.array(edit.xy),
        covariance=np.diag([edit.u_m**2, turn]),
        observed=0.0,  # by points
        inferred_from="a spot that was observed",
    )
    return _placed(state, b, new, away)


def _adjusted(boundary: Boundary, solution: Solution, b: int) -> Boundary:
    """A boundary at its adjusted place, what all edges share left out."""
    at = 3 * solution.model.n_planes + 2 * b
    offset, turn = solution.adjusted.vector[at : at + 2]
    angle = boundary.angle_rad + float(turn)
    return replace(
        boundary,
        point=boundary.point + offset * np.array([np.cos(angle), np.sin(angle)]),
        angle_rad=angle,
    )


def _placed(state: RoofState, b: int, boundary: Boundary, along_normal_m: float) -> RoofState:
    net = Net(state)
    net.boundaries[b] = boundary
    net.lapse_places(b)
    for vertex in range(len(net.xy)):
        _open(net, vertex, Curve(boundary=b), along_normal_m)
    return net.closed()


def _open(net: Net, vertex: int, moving: Curve, along_normal_m: float) -> None:
    """Divide a corner where the moving boundary, another one and a crease met: all three no longer do.

    Moved out, the face behind it goes on along the other boundary; moved in, the other face goes on along
    the moved one.  Either way each new corner is where two curves meet.
    """
    curves = net.curves[vertex]
    creases = [c for c in curves if c.planes is not None]
    others = [c for c in curves if c.boundary is not None and c != moving]
    if moving not in curves or len(curves) != 3 or len(creases) != 1 or len(others) != 1:
        return
    crease, other = creases[0], others[0]
    corners = [n for n, corner in enumerate(net.corners) if corner.vertex == vertex]
    here = [n for n in corners if set(net.corners[n].planes) == set(crease.planes or ())]
    if len(here) != 1:
        return
    corner = here[0]
    on = {edge.curve: edge for edge in net.edges.values() if corner in (edge.start, edge.end)}
    if set(on) != {moving, other, crease} or len(on[moving].planes) != 1 or len(on[other].planes) != 1:
        return
    if moving.boundary is None:
        return
    angle = net.boundaries[moving.boundary].angle_rad
    normal = np.array([np.cos(angle), np.sin(angle)])
    outward = _points_out(net, on[moving], normal) * along_normal_m > 0
    # the face that gets one corner more, and the curve along which
    gains, along = (moving, other) if outward else (other, moving)
    plane = on[gains].planes[0]
    new_vertex = net.add_vertex([moving, other], net.xy[vertex])
    new_corner = net.add_corner(new_vertex, {plane})
    net.curves[vertex] = [crease, along]
    for name, edge in net.edges.items():
        if edge.curve == gains and corner in (edge.start, edge.end):
            net.edges[name] = replace(
                edge,
                start=new_corner if edge.start == corner else edge.start,
                end=new_corner if edge.end == corner else edge.end,
            )
            far = edge.end if edge.start == corner else edge.start
    net.edges[net.new_edge_id()] = TracedEdge(
        kind=EdgeKind.RAKE, start=corner, end=new_corner, planes=(plane,), curve=along, observed=0.0
    )
    for name, face in net.faces.items():
        loops = []
        for loop in face.loops:
            if (corner, far) in sides(loop):
                at = loop.index(corner)
                loop = (*loop[: at + 1], new_corner, *loop[at + 1 :])
            elif (far, corner) in sides(loop):
                at = loop.index(corner)
                loop = (*loop[:at], new_corner, *loop[at:])
            loops.append(loop)
        net.faces[name] = replace(face, loops=tuple(loops))


def _points_out(net: Net, edge: TracedEdge, normal: Array) -> float:
    """1 if a normal points out of the face that an edge bounds, -1 if into it."""
    for face in net.faces.values():
        for loop in face.loops:
            for a, b in sides(loop):
                if {a, b} == {edge.start, edge.end}:
                    along = net.xy[net.corners[b].vertex] - net.xy[net.corners[a].vertex]
                    return 1.0 if float(normal @ np.array([along[1], -along[0]])) > 0 else -1.0
    raise AssertionError("an edge of no face")
