"""How lengths would change if single cells of the plan had been labelled otherwise.  Metres.

What a cell is called follows from few points where few fall into it.  The adjustment knows how far a line may
lie aside; that a corner is cut off, or a hip ends elsewhere, is another roof to it.  Here the chance of that,
and what it would do to each kind of edge, is carried as a doubt of lengths.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from ..scene import Array, EdgeKind, Topology
from .arrangement import Cells
from .candidates import PlanLine
from .classify import crease_kind, free_kind, wall_kind
from .evidence import Evidence
from .labelling import OUTSIDE, energies

LEAST_CHANCE = 0.02  # of another label; what is less likely is left out
LEAST_OPEN = 0.25  # of the area that a point stands for is not covered in any cell
MEETING_M = 0.25  # planes that are nearer than this in height on a cut that is not their crease meet there


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Doubtful:
    """A cell that may have another label."""

    xy: Array  # (2,) where it lies
    chance: float
    change: dict[EdgeKind, float]  # of the length of each kind [m]


def doubtful_cells(
    cells: Cells,
    lines: list[PlanLine],
    labels: npt.NDArray[np.int64],
    seen: tuple[Array, Array, Array],
    evidence: Evidence,
) -> list[Doubtful]:
    """Cells whose label another one might have beaten, had the points fallen a little otherwise.

    Parameters
    ----------
    cells : Cells
    lines : list of PlanLine
    labels : array, shape (c,)
        Plane of each cell, -1 for outside.
    seen : (planes, hidden, ground)
        As `votes` gives them.
    evidence : Evidence

    Notes
    -----
    The number of points that may yet have fallen into what no point of a cell's own label covers scatters as
    a Poisson process's does: the area that they cover by the root of that area times the area that a point
    stands for.  The chance of another label is that of such a scatter making up for the energy by which it
    was beaten, all other cells held.
    """
    data, price = energies(cells, lines, *seen)
    sides = np.where(cells.piece_cells >= 0, labels[np.maximum(cells.piece_cells, 0)], OUTSIDE)
    pieces: list[list[tuple[int, int]]] = [[] for _ in labels]  # of each cell: piece, side of it
    for p, pair in enumerate(cells.piece_cells):
        for side in (0, 1):
            if pair[side] >= 0:
                pieces[pair[side]].append((p, side))
    found = []
    planes, _, ground = seen
    own = np.where(labels == OUTSIDE, ground, planes[np.arange(len(labels)), labels])
    open_m2 = np.maximum(cells.area - own, LEAST_OPEN * evidence.spacing_m**2)
    scatter_m2 = np.sqrt(open_m2) * evidence.spacing_m
    for c, label in enumerate(labels):
        beside = {int(sides[p, 1 - side]) for p, side in pieces[c]} - {int(label)}
        for other in sorted(beside):
            more = data[c, other + 1] - data[c, label + 1]
            for p, side in pieces[c]:
                around = int(sides[p, 1 - side])
                more += _paid(price[p], other, around) - _paid(price[p], int(label), around)
            chance = float(ndtr(-max(more, 0.0) / scatter_m2[c]))
            if chance < LEAST_CHANCE:
                continue
            change: dict[EdgeKind, float] = {}
            for p, side in pieces[c]:
                around = int(sides[p, 1 - side])
                for mine, sign in ((int(label), -1.0), (other, 1.0)):
                    for kind, length in _edges_of(cells, lines, evidence, p, side, mine, around):
                        change[kind] = change.get(kind, 0.0) + sign * length
            middle = np.array(cells.polygons[c].representative_point().coords[0])
            found.append(Doubtful(xy=middle, chance=chance, change=change))
    return found


def _paid(price: Array, one: int, other: int) -> float:
    return 0.0 if one == other else float(price[one + 1] + price[other + 1])


def _edges_of(
    cells: Cells, lines: list[PlanLine], evidence: Evidence, p: int, side: int, mine: int, around: int
) -> list[tuple[EdgeKind, float]]:
    """Kinds and lengths of the edges that a piece is between two labels."""
    if mine == around:
        return []
    start, end = cells.nodes[cells.piece_nodes[p]]
    along = (end - start) / cells.piece_length[p]
    inward = np.array([-along[1], along[0]]) * (
        1.0 if side == 0 else -1.0
    )  # into the cell: left of the piece
    gradient = evidence.coefficients[:, :2]

    def sloped(k: int) -> float:
        return float(cells.piece_length[p] * np.hypot(1.0, gradient[k] @ along))

    if around == OUTSIDE or mine == OUTSIDE:
        k, inner = (mine, inward) if around == OUTSIDE else (around, -inward)
        return [(free_kind(gradient[k], inner), sloped(k))]
    gap = float((evidence.coefficients[mine] - evidence.coefficients[around]) @ [*(start + end) / 2, 1.0])
    if lines[cells.piece_line[p]].crease == (min(mine, around), max(mine, around)) or abs(gap) < MEETING_M:
        return [(crease_kind(gradient[mine], gradient[around], inward), sloped(mine))]
    if gap > 0:
        upper, lower, into_upper = mine, around, inward
    else:
        upper, lower, into_upper = around, mine, -inward
    return [
        (free_kind(gradient[upper], into_upper), sloped(upper)),
        (wall_kind(gradient[lower], -into_upper), sloped(lower)),
    ]


def with_doubt(topology: Topology, doubtful: list[Doubtful]) -> Topology:
    """The same topology; each change of a kind's length is a doubt of the edge of that kind nearest to it."""
    places = np.array([topology.vertices[c.vertex].xy for c in topology.corners])
    ends = np.array([(places[e.start], places[e.end]) for e in topology.edges])
    variance = np.zeros(len(topology.edges))
    for cell in doubtful:
        for kind, change in cell.change.items():
            rows = [n for n, edge in enumerate(topology.edges) if edge.kind == kind]
            if rows:
                away = [_distance(cell.xy, *ends[n]) for n in rows]
                variance[rows[int(np.argmin(away))]] += cell.chance * change**2
    return replace(
        topology,
        edges=tuple(
            replace(edge, ambiguous_m=float(np.sqrt(v)))
            for edge, v in zip(topology.edges, variance, strict=True)
        ),
    )


def _distance(xy: Array, start: Array, end: Array) -> float:
    """From a spot to a piece of line."""
    along = end - start
    share = np.clip((xy - start) @ along / max(float(along @ along), 1e-12), 0, 1)
    return float(np.hypot(*(start + share * along - xy)))
