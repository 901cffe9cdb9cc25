"""From labelled cells to incidence: chains of the plan, their curves, vertices, corners.  Metres."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..geometry.planlines import crease_lines
from ..scene import Array, Corner, Curve
from .arrangement import Cells
from .candidates import PlanLine
from .evidence import Evidence
from .settle import Chain, Graph, Lines, contract, graph_of, settled

CREASE_ANGLE_RAD = np.deg2rad(12.0)  # a cut this near the crease of its planes is the crease
SAME_HEIGHT_M = 0.03
SHORT_CHAIN_M = 0.2  # chains shorter than this are contracted to a vertex


@dataclass(slots=True)
class _Curves:
    """Hands out one Curve for each crease and each boundary line."""

    lines: list[PlanLine]
    evidence: Evidence
    numbers: dict[int, int]

    def crease_or_none(self, line: int, ends: Array, i: int, j: int) -> Curve | None:
        """The crease of planes i and j, if a cut between `ends` on `line` stands for it."""
        a, b = self.evidence.coefficients[[i, j]]
        pair = (min(i, j), max(i, j))
        if self.lines[line].crease == pair:
            return Curve(planes=pair)
        normal, offset = crease_lines(a, b)
        if not normal.any():
            return None
        gap = np.abs((ends @ (a - b)[:2]) + (a - b)[2])
        if (gap < SAME_HEIGHT_M).all():
            return Curve(planes=pair)
        own = self.lines[line].normal
        angle = np.arctan2(abs(own[0] * normal[1] - own[1] * normal[0]), abs(own @ normal))
        reach = max(0.35, 0.8 * self.evidence.spacing_m)
        if angle < CREASE_ANGLE_RAD and (np.abs(ends @ normal - offset) < reach).all():
            return Curve(planes=pair)
        return None

    def boundary_lines(self) -> list[PlanLine]:
        """The lines that boundaries lie on, in the order of their numbers."""
        return [self.lines[line] for line in sorted(self.numbers, key=lambda n: self.numbers[n])]

    def boundary(self, line: int) -> Curve:
        return Curve(boundary=self.numbers.setdefault(line, len(self.numbers)))


def trace(cells: Cells, lines: list[PlanLine], labels: npt.NDArray[np.int64], evidence: Evidence) -> Graph:
    """Chains and vertices of the labelled plan."""
    side = np.where(cells.piece_cells >= 0, labels[np.maximum(cells.piece_cells, 0)], -1)
    cut = np.flatnonzero(side[:, 0] != side[:, 1])
    curves = _Curves(lines=lines, evidence=evidence, numbers={})
    curve_of: dict[int, Curve] = {}
    for p in cut:
        i, j = int(side[p, 0]), int(side[p, 1])
        line = int(cells.piece_line[p])
        curve = None
        if i >= 0 and j >= 0:
            curve = curves.crease_or_none(line, cells.nodes[cells.piece_nodes[p]], i, j)
        curve_of[int(p)] = curve or curves.boundary(line)
    chains = _join(cells, side, cut, curve_of)
    where = {n: cells.nodes[n] for chain in chains for n in (chain.start, chain.end)}
    chains, where = contract(chains, where, SHORT_CHAIN_M)
    run = Lines(boundaries=tuple(curves.boundary_lines()), coefficients=evidence.coefficients)
    found = settled(chains, where, run)
    # what its curves pulled together is one vertex too
    again = [replace(c, length_m=float(np.hypot(*(found[c.end][1] - found[c.start][1])))) for c in chains]
    chains, _ = contract(again, where, SHORT_CHAIN_M / 2)
    return graph_of(chains, where, run)


def _join(
    cells: Cells, side: npt.NDArray[np.int64], cut: npt.NDArray[np.int64], curve_of: dict[int, Curve]
) -> list[Chain]:
    """Run pieces together over nodes where nothing changes."""
    at_node: dict[int, list[int]] = {}
    for p in cut:
        for node in cells.piece_nodes[p]:
            at_node.setdefault(int(node), []).append(int(p))

    def signature(p: int, start: int) -> tuple[int, int, Curve]:
        i, j = int(side[p, 0]), int(side[p, 1])
        forward = int(cells.piece_nodes[p, 0]) == start
        return (i, j, curve_of[p]) if forward else (j, i, curve_of[p])

    def far_end(p: int, start: int) -> int:
        a, b = (int(n) for n in cells.piece_nodes[p])
        return b if a == start else a

    def passes_through(node: int) -> bool:
        here = at_node[node]
        if len(here) != 2:
            return False
        first = signature(here[0], far_end(here[0], node))  # arriving
        return first == signature(here[1], node)  # leaving

    chains = []
    done: set[int] = set()
    for p in map(int, cut):
        if p in done:
            continue
        start, end = (int(n) for n in cells.piece_nodes[p])
        left, right, curve = signature(p, start)
        done.add(p)
        length = float(cells.piece_length[p])
        while passes_through(end):
            (q,) = [r for r in at_node[end] if r not in done] or [-1]
            if q < 0:
                break
            done.add(q)
            length += float(cells.piece_length[q])
            end = far_end(q, end)
        while passes_through(start):
            (q,) = [r for r in at_node[start] if r not in done] or [-1]
            if q < 0:
                break
            done.add(q)
            length += float(cells.piece_length[q])
            start = far_end(q, start)
        chains.append(Chain(left=left, right=right, curve=curve, start=start, end=end, length_m=length))
    return chains


def loops_of(graph: Graph, plane: int) -> list[tuple[list[int], list[tuple[int, bool]]]]:
    """Closed walks round the faces of a plane, the face on the left.

    Returns
    -------
    list of (vertices, chains)
        For each loop its vertices, and the chains that lead from each to the next with True where the
        plane is on the chain's left.
    """
    leaving: dict[int, list[tuple[int, int, bool]]] = {}
    for n, chain in enumerate(graph.chains):
        if chain.left == plane:
            leaving.setdefault(chain.start, []).append((n, chain.end, True))
        if chain.right == plane:
            leaving.setdefault(chain.end, []).append((n, chain.start, False))
    loops = []
    used: set[tuple[int, bool]] = set()
    for origin in sorted(leaving):
        for n, end, forward in leaving[origin]:
            if (n, forward) in used:
                continue
            vertices, walked = [origin], [(n, forward)]
            used.add((n, forward))
            came, here = origin, end
            while here != origin:
                choices = [c for c in leaving.get(here, []) if (c[0], c[2]) not in used]
                if not choices:
                    break
                step = _sharpest_left(graph, came, here, choices)
                used.add((step[0], step[2]))
                vertices.append(here)
                walked.append((step[0], step[2]))
                came, here = here, step[1]
            if here == origin and len(vertices) >= 3:
                loops.append((vertices, walked))
    return loops


def _sharpest_left(
    graph: Graph, came: int, here: int, choices: list[tuple[int, int, bool]]
) -> tuple[int, int, bool]:
    """Where two parts of a face touch in a vertex, keep to the part that was being walked."""
    if len(choices) == 1:
        return choices[0]
    back = graph.vertices[came].xy - graph.vertices[here].xy

    def turn(choice: tuple[int, int, bool]) -> float:
        out = graph.vertices[choice[1]].xy - graph.vertices[here].xy
        angle = np.arctan2(back[0] * out[1] - back[1] * out[0], back @ out)
        return float(-angle % (2 * np.pi))  # clockwise from the way back: the interior's angle

    return min(choices, key=lambda c: (turn(c), c[0]))


def corners_at(graph: Graph) -> tuple[list[Corner], dict[tuple[int, int], int]]:
    """Planes that meet at each vertex in one point of space: those that creases there connect.

    Returns
    -------
    corners : list of Corner
    index : dict
        (vertex, plane) -> corner.
    """
    touching: dict[int, set[int]] = {}
    joined: dict[int, list[tuple[int, int]]] = {}
    for chain in graph.chains:
        for v in (chain.start, chain.end):
            touching.setdefault(v, set()).update(k for k in (chain.left, chain.right) if k >= 0)
            if chain.curve.planes is not None:
                joined.setdefault(v, []).append(chain.curve.planes)
    corners: list[Corner] = []
    index: dict[tuple[int, int], int] = {}
    for v in sorted(touching):
        groups = [{k} for k in sorted(touching[v])]
        for i, j in joined.get(v, []):
            with_i = next((g for g in groups if i in g), None)
            with_j = next((g for g in groups if j in g), None)
            if with_i is not None and with_j is not None and with_i is not with_j:
                with_i |= with_j
                groups.remove(with_j)
        for group in groups:
            for k in group:
                index[v, k] = len(corners)
            corners.append(Corner(vertex=v, planes=tuple(sorted(group))))
    return corners, index
