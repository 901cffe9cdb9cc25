"""Two planes that are one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import chdtrc

from ..errors import InputError
from ..scene import Array, Curve, Notice, PlaneSegment, TracedEdge, TracedFace
from ..state import MergePlanes, RoofState
from .net import Net, sides

AGREE = 0.05  # chance that two fits of one plane are told to differ


def merge(state: RoofState, edit: MergePlanes) -> RoofState:
    """The state with two planes, and their faces that touch, made one.

    Raises
    ------
    InputError
        If the planes share no edge.
    """
    net = Net(state)
    keep, drop = net.faces[edit.first].plane, net.faces[edit.second].plane
    at_side = net.face_of_side()
    between = []
    for name, edge in net.edges.items():
        beside = {at_side.get((edge.start, edge.end)), at_side.get((edge.end, edge.start))}
        of_planes = edge.curve.planes is not None and set(edge.curve.planes) == {keep, drop}
        if of_planes or beside == {edit.first, edit.second}:
            between.append((name, beside))
    if not any(beside == {edit.first, edit.second} for _, beside in between):
        raise InputError(f"planes {edit.first} and {edit.second} share no edge, need two that meet")
    if keep != drop:
        net.planes[keep], differ = _one_plane(net.planes[keep], net.planes[drop])
        net.cells[keep] = np.concatenate([net.cells[keep], net.cells[drop]])
        if differ:
            net.remarks.append(
                Notice(
                    code="merged_unlike",
                    text=f"{edit.first} and {edit.second} were merged though their points tell them apart;"
                    " bounds of the one plane are widened",
                    about=(edit.first,),
                )
            )
    ends = set()
    for name, _ in between:
        edge = net.edges.pop(name)
        for corner in (edge.start, edge.end):
            vertex = net.corners[corner].vertex
            ends.add(vertex)
            if edge.curve.boundary is not None and edge.curve in net.curves[vertex]:
                net.curves[vertex].remove(edge.curve)
    _relabel(net, keep, drop)
    renamed: dict[str, str] = {}
    for group in _groups(list(net.faces), [beside for _, beside in between]):
        first = edit.first if edit.first in group else group[0]
        renamed |= {name: first for name in group}
        _unite(net, first, group)
    changed = {name for name, _ in between}
    for vertex in sorted(ends):
        changed |= dissolve(net, vertex, renamed)
    net.lapse(changed, renamed)
    excluded = frozenset(name for name in state.excluded if name in net.faces)
    return net.closed(excluded=excluded)


def _one_plane(first: PlaneSegment, second: PlaneSegment) -> tuple[PlaneSegment, bool]:
    """The plane of two independent fits, and whether they differ more than they say they can.

    Notes
    -----
    Weighted mean of the coefficients; where they differ, its covariance grows by Birge's ratio.
    """
    n = first.n_points + second.n_points
    xy = (first.n_points * first.centroid[:2] + second.n_points * second.centroid[:2]) / n
    x1, c1 = moved(first, xy)
    x2, c2 = moved(second, xy)
    gain = np.linalg.solve(c1 + c2, c1).T
    x = x1 + gain @ (x2 - x1)
    covariance = c1 - gain @ c1
    score = float((x2 - x1) @ np.linalg.solve(c1 + c2, x2 - x1))
    differ = bool(chdtrc(3, score) < AGREE)
    if differ:
        covariance = covariance * max(score / 3, 1.0)
    normal = np.array([-x[0], -x[1], 1.0]) / np.sqrt(1 + x[0] ** 2 + x[1] ** 2)
    centroid = np.array([*xy, x[2]])
    between = [(plane.centroid - centroid) @ normal for plane in (first, second)]
    square = sum(
        plane.n_points * (plane.rms_m**2 + away**2)
        for plane, away in zip((first, second), between, strict=True)
    )
    plane = PlaneSegment(
        centroid=centroid,
        normal=normal,
        covariance=(covariance + covariance.T) / 2,
        n_points=n,
        rms_m=float(np.sqrt(square / n)),
        area_m2=first.area_m2 + second.area_m2,
    )
    return plane, differ


def moved(plane: PlaneSegment, xy: Array) -> tuple[Array, Array]:
    """Slopes and height of a plane at another place of the plan, with their covariance."""
    slope = -plane.normal[:2] / plane.normal[2]
    shift = np.eye(3)
    shift[2, :2] = xy - plane.centroid[:2]
    return shift @ np.array([*slope, plane.centroid[2]]), shift @ plane.covariance @ shift.T


def _relabel(net: Net, keep: int, drop: int) -> None:
    """Everything of the one plane becomes the other's."""

    def of(k: int) -> int:
        return keep if k == drop else k

    def curve(old: Curve) -> Curve:
        if old.planes is None:
            return old
        first, second = sorted(of(k) for k in old.planes)
        return Curve(planes=(first, second))

    for v, curves in enumerate(net.curves):
        met = dict.fromkeys(curve(c) for c in curves)
        net.curves[v] = [c for c in met if c != Curve(planes=(keep, keep))]
    net.corners = [replace(c, planes=tuple(sorted({of(k) for k in c.planes}))) for c in net.corners]
    net.edges = {
        name: replace(edge, planes=tuple(sorted({of(k) for k in edge.planes})), curve=curve(edge.curve))
        for name, edge in net.edges.items()
    }
    net.faces = {name: replace(face, plane=of(face.plane)) for name, face in net.faces.items()}


def _groups(names: list[str], pairs: list[set[str | None]]) -> list[list[str]]:
    """Faces that hang together by pairs, in the order of the names."""
    root = {name: name for name in names}
    for pair in pairs:
        joined = {root[name] for name in pair if name is not None}
        for name in names:
            if root[name] in joined:
                root[name] = min(joined, key=names.index)
    groups: dict[str, list[str]] = {}
    for name in names:
        groups.setdefault(root[name], []).append(name)
    return [group for group in groups.values() if len(group) > 1]


def _unite(net: Net, first: str, group: list[str]) -> None:
    """One face of several: sides that two of them share fall out, the others close to loops."""
    faces = [net.faces[name] for name in group]
    all_sides = {side for face in faces for loop in face.loops for side in sides(loop)}
    left = sorted(side for side in all_sides if side[::-1] not in all_sides)
    following: dict[int, list[int]] = {}
    for a, b in left:
        following.setdefault(a, []).append(b)
    loops: list[tuple[int, ...]] = []
    while any(following.values()):
        start = next(a for a, after in sorted(following.items()) if after)
        loop = [start]
        while (step := _turn(net, loop, following[loop[-1]])) != start:
            loop.append(step)
        loops.append(tuple(loop))
    loops.sort(key=lambda loop: -_area(net, loop))
    weight = [max(net.n_points[name], 1) for name in group]
    observed = float(np.average([face.observed for face in faces], weights=weight))
    n_points = sum(net.n_points[name] for name in group)
    for name in group:
        if name != first:
            del net.faces[name], net.n_points[name]
    net.faces[first] = TracedFace(plane=faces[0].plane, loops=tuple(loops), observed=observed)
    net.n_points[first] = n_points


def _turn(net: Net, loop: list[int], ways: list[int]) -> int:
    """The next corner, taken out of the ways on: the leftmost turn where there are several."""
    if len(ways) > 1 and len(loop) > 1:
        before, here = (net.xy[net.corners[c].vertex] for c in loop[-2:])
        back = np.arctan2(*(before - here)[::-1])

        def turn(c: int) -> float:
            along = net.xy[net.corners[c].vertex] - here
            return float((back - np.arctan2(along[1], along[0])) % (2 * np.pi))

        ways.sort(key=turn)
    return ways.pop(0)


def _area(net: Net, loop: tuple[int, ...]) -> float:
    x, y = (np.array([net.xy[net.corners[c].vertex] for c in loop]) - net.xy[net.corners[loop[0]].vertex]).T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def dissolve(net: Net, vertex: int, renamed: dict[str, str]) -> set[str]:
    """Take out a vertex in the middle of one straight edge; ids of the edges that this changes."""
    if len(net.curves[vertex]) != 1:
        return set()
    corners = {c for face in net.faces.values() for loop in face.loops for c in loop}
    corners = {c for c in corners if net.corners[c].vertex == vertex}
    joints = []
    for corner in sorted(corners):
        ends = [name for name, edge in net.edges.items() if corner in (edge.start, edge.end)]
        if len(ends) != 2 or len({net.edges[name].kind for name in ends}) != 1:
            return set()
        joints.append((corner, ends))
    loops = [loop for face in net.faces.values() for loop in face.loops]
    if any(len(set(loop) - corners) < 3 for loop in loops if set(loop) & corners):
        return set()
    changed: set[str] = set()
    for corner, (one, other) in joints:
        keep, drop = sorted((one, other), key=lambda name: (-_length(net, net.edges[name]), name))
        kept, gone = net.edges[keep], net.edges[drop]
        far = gone.end if gone.start == corner else gone.start
        length = np.array([_length(net, kept), _length(net, gone)])
        observed = np.average([kept.observed, gone.observed], weights=length + 1e-9)
        net.edges[keep] = replace(
            kept,
            start=far if kept.start == corner else kept.start,
            end=far if kept.end == corner else kept.end,
            observed=float(observed),
        )
        del net.edges[drop]
        renamed[drop] = keep
        changed |= {keep, drop}
    net.faces = {
        name: replace(face, loops=tuple(tuple(c for c in loop if c not in corners) for loop in face.loops))
        for name, face in net.faces.items()
    }
    return changed


def _length(net: Net, edge: TracedEdge) -> float:
    start, end = (net.xy[net.corners[c].vertex] for c in (edge.start, edge.end))
    return float(np.hypot(*(end - start)))
