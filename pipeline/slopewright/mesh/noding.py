"""The plan of the faces as a graph: one node a spot of the plan, every outline split at all nodes on it.

Metres, local coordinates, z up.  Heights stay with the faces: two faces may pass a node at two levels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..roof import Roof
from ..scene import Array

SAME_M = 1e-3  # corners nearer than this are one spot: far below any bound, far above rounding


@dataclass(frozen=True, slots=True)
class Stop:
    """A corner of an outline: a node of the plan and the height there [m]."""

    node: int
    z: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Outlines of all faces over one list of nodes."""

    nodes: Array  # (k, 2) [m]
    loops: tuple[tuple[tuple[Stop, ...], ...], ...]  # of each plane, outer first; sense as in `Plane.loops`


def node_plan(roof: Roof) -> Plan:
    """The plan of a roof; outlines are split where corners of others, or steps that change sides, lie.

    Parameters
    ----------
    roof : Roof

    Returns
    -------
    Plan
        Corners within `SAME_M` of one another in plan are one node.
    """
    nodes, node_of = _cluster(roof.vertices[:, :2])
    loops = [
        [
            _without_repeats([Stop(int(node_of[row]), float(roof.vertices[row, 2])) for row in loop])
            for loop in plane.loops
        ]
        for plane in roof.planes
    ]
    loops = [[_split(ring, nodes) for ring in rings] for rings in loops]
    crossings = _changing_sides(loops, nodes)
    if len(crossings):
        nodes = np.vstack([nodes, crossings])
        loops = [[_split(ring, nodes) for ring in rings] for rings in loops]
    return Plan(nodes=nodes, loops=tuple(tuple(rings) for rings in loops))


def _cluster(xy: Array) -> tuple[Array, npt.NDArray[np.int64]]:
    """Spots of the plan, and which of them each corner is: the first corner of a group lends its place."""
    nodes: list[Array] = []
    node_of = np.empty(len(xy), dtype=np.int64)
    for row, point in enumerate(xy):
        off = np.hypot(*(np.array(nodes) - point).T) if nodes else np.array([np.inf])
        nearest = int(np.argmin(off))
        if off[nearest] > SAME_M:
            nearest = len(nodes)
            nodes.append(point)
        node_of[row] = nearest
    return np.array(nodes), node_of


def _without_repeats(ring: list[Stop]) -> tuple[Stop, ...]:
    return tuple(stop for i, stop in enumerate(ring) if stop.node != ring[i - 1].node)


def _split(ring: tuple[Stop, ...], nodes: Array) -> tuple[Stop, ...]:
    """A ring with every node that lies on one of its sides put in, at the side's height there."""
    split: list[Stop] = []
    for i, start in enumerate(ring):
        end = ring[(i + 1) % len(ring)]
        split.append(start)
        along = nodes[end.node] - nodes[start.node]
        length = float(np.hypot(*along))
        away = nodes - nodes[start.node]
        at = away @ along / length
        across = np.abs(away @ np.array([-along[1], along[0]])) / length
        on = np.flatnonzero((across < SAME_M) & (at > SAME_M) & (at < length - SAME_M))
        for node in on[np.argsort(at[on])]:
            split.append(Stop(int(node), start.z + float(at[node]) / length * (end.z - start.z)))
    return tuple(split)


def _changing_sides(loops: list[list[tuple[Stop, ...]]], nodes: Array) -> Array:
    """Spots where two faces that share a side of the plan change which is the higher, shape (m, 2)."""
    sides: dict[tuple[int, int], tuple[float, float]] = {}
    for rings in loops:
        for ring in rings:
            for i, start in enumerate(ring):
                end = ring[(i + 1) % len(ring)]
                sides[start.node, end.node] = (start.z, end.z)
    found = []
    for (a, b), (za, zb) in sides.items():
        if a < b and (b, a) in sides:
            other_b, other_a = sides[b, a]
            at_a, at_b = za - other_a, zb - other_b
            if min(abs(at_a), abs(at_b)) > SAME_M and at_a * at_b < 0:
                found.append(nodes[a] + at_a / (at_a - at_b) * (nodes[b] - nodes[a]))
    return np.array(found).reshape(-1, 2)
