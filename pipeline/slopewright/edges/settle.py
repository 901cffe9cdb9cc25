"""Vertices of the plan: where the curves that meet do, and short chains shrunk to one vertex.  Metres."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..geometry.planlines import crease_lines, meet
from ..scene import Array, Curve, PlanVertex
from .candidates import PlanLine

CLUSTER_M = 0.3  # nodes that short chains shrink to one lie no further apart
MAX_MOVE_M = 1.0  # a vertex that its curves would carry further stays where it was


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """A straight run of pieces with one label on each side; -1 is outside."""

    left: int
    right: int
    curve: Curve
    start: int  # node
    end: int
    length_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Graph:
    """The plan as chains between vertices."""

    chains: tuple[Chain, ...]  # start and end are rows of `vertices`
    vertices: tuple[PlanVertex, ...]
    boundary_lines: tuple[PlanLine, ...]  # what Curve.boundary counts


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """Where the curves of a plan run."""

    boundaries: tuple[PlanLine, ...]  # what Curve.boundary counts
    coefficients: Array  # (k, 3) of z = a x + b y + c for each plane

    def of(self, curve: Curve) -> tuple[Array, float]:
        """Normal and offset of a curve's plan line."""
        if curve.planes is not None:
            first, second = curve.planes
            normal, offset = crease_lines(self.coefficients[first], self.coefficients[second])
            return normal, float(offset)
        assert curve.boundary is not None
        line = self.boundaries[curve.boundary]
        return line.normal, line.offset


def contract(
    chains: list[Chain], where: dict[int, Array], short_m: float
) -> tuple[list[Chain], dict[int, Array]]:
    """Shrink chains under `short_m` to one node, shortest first, clusters little wider than that."""
    together = _Clusters(where)
    for chain in sorted(chains, key=lambda c: (c.length_m, c.start, c.end)):
        if chain.length_m >= short_m:
            break
        together.unite(chain.start, chain.end, widest_m=CLUSTER_M)
    return together.shrunk(chains)


def shrink(
    chains: list[Chain], where: dict[int, Array], which: set[int]
) -> tuple[list[Chain], dict[int, Array]]:
    """Shrink these chains, by their rows, to one node each, however long they are."""
    together = _Clusters(where)
    for n in sorted(which):
        together.unite(chains[n].start, chains[n].end, widest_m=np.inf)
    return together.shrunk(chains)


class _Clusters:
    """Nodes that become one, in the middle of them."""

    def __init__(self, where: dict[int, Array]) -> None:
        self._where = where
        self._home = {n: n for n in where}
        self._members: dict[int, list[int]] = {n: [n] for n in where}

    def unite(self, one: int, other: int, *, widest_m: float) -> None:
        a, b = self._home[one], self._home[other]
        members = self._members[a] + self._members[b]
        if a == b or np.ptp([self._where[n] for n in members], axis=0).max() > widest_m:
            return
        for n in self._members.pop(b):
            self._home[n] = a
        self._members[a] = members

    def shrunk(self, chains: list[Chain]) -> tuple[list[Chain], dict[int, Array]]:
        kept = [
            replace(chain, start=self._home[chain.start], end=self._home[chain.end])
            for chain in chains
            if self._home[chain.start] != self._home[chain.end]
        ]
        middle = {n: np.mean([self._where[m] for m in group], axis=0) for n, group in self._members.items()}
        return kept, middle


def settled(
    chains: list[Chain], where: dict[int, Array], lines: Lines
) -> dict[int, tuple[tuple[Curve, ...], Array]]:
    """For each node the curves that meet there, and where they do."""
    incident: dict[int, list[Curve]] = {}
    for chain in chains:
        for node in (chain.start, chain.end):
            here = incident.setdefault(node, [])
            if chain.curve not in here:
                here.append(chain.curve)
    found = {}
    for node, here in incident.items():
        on = [lines.of(curve) for curve in here]
        kept, xy = _settle(np.array([n for n, _ in on]), np.array([d for _, d in on]), where[node])
        found[node] = (tuple(here[n] for n in kept), xy)
    return found


def graph_of(chains: list[Chain], where: dict[int, Array], lines: Lines) -> Graph:
    """The plan with its vertices settled, in an order that depends on their places alone."""
    found = settled(chains, where, lines)
    order = sorted(found, key=lambda n: (where[n][0], where[n][1]))
    row = {node: n for n, node in enumerate(order)}
    return Graph(
        chains=tuple(replace(c, start=row[c.start], end=row[c.end]) for c in chains),
        vertices=tuple(PlanVertex(curves=found[n][0], xy=found[n][1]) for n in order),
        boundary_lines=lines.boundaries,
    )


def _settle(normals: Array, offsets: Array, start: Array) -> tuple[list[int], Array]:
    """The curves that meet at a node, and where; fewer if all together would carry it too far."""
    n = len(offsets)
    every = list(range(n))
    choices = [every] + [[i for i in every if i != left] for left in (every if n > 2 else [])]
    moves = []
    for kept in choices:
        xy = meet(normals[kept], offsets[kept], np.ones(len(kept)), start)
        move = float(np.hypot(*(xy - start)))
        if kept == every and move <= MAX_MOVE_M:
            return kept, xy
        moves.append((move, kept, xy))
    move, kept, xy = min(moves, key=lambda m: (m[0], m[1]))
    return (kept, xy) if move <= MAX_MOVE_M else ([], start)
