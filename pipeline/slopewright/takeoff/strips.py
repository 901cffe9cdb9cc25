"""Strips cut from stock pieces along straight runs of edges.  Metres."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ..roof import Edge, Roof
from ..scene import Array
from .cutting import CutPlan, count_first_fit, cut_stock

MAX_BEND_RAD = np.deg2rad(2.0)  # a strip of metal or felt follows this much at a joint
LEAST_OFFCUT_M = 0.3048  # a foot: shorter rests of strips are thrown away, common practice
WHOLE_TOLERANCE = 1e-6  # of a piece; beyond it a remainder is a real one, not rounding


def straight_runs(roof: Roof, edges: Iterable[Edge]) -> tuple[tuple[Edge, ...], ...]:
    """Group edges that go on in a straight line from one another, as a strip would.

    Parameters
    ----------
    roof : Roof
        Whose vertices the edges name.
    edges : iterable of Edge
        Of one purpose (all eaves, all rakes, ...).

    Returns
    -------
    tuple of tuples of Edge
        Every edge once, runs in the order of their first edge.
    """
    edges = tuple(edges)
    leader = list(range(len(edges)))

    def find(i: int) -> int:
        while leader[i] != i:
            i = leader[i]
        return i

    for i, edge in enumerate(edges):
        for j in range(i):
            if _goes_on(roof, edges[j], edge):
                first, second = sorted((find(i), find(j)))
                leader[second] = first
    runs: dict[int, list[Edge]] = {}
    for i, edge in enumerate(edges):
        runs.setdefault(find(i), []).append(edge)
    return tuple(tuple(run) for run in runs.values())


def whole(amount: Array) -> Array:
    """Round up to whole pieces, where a remainder under a millionth of a piece is rounding."""
    pieces: Array = np.ceil(amount - WHOLE_TOLERANCE)
    return np.maximum(pieces, 0.0)


def pieces_without_reuse(length_m: Array, *, stock_m: float, lap_m: float) -> Array:
    """Stock pieces for a straight run when no offcut is used again: ceil((L - lap) / (stock - lap)).

    Parameters
    ----------
    length_m : array, shape (n,)
        Length of the run [m], draw by draw.
    stock_m, lap_m : float
        Length of a piece and of the lap at a joint [m], lap < stock.

    Returns
    -------
    array, shape (n,)
        At least one where there is any length.
    """
    length_m = np.asarray(length_m, dtype=np.float64)
    pieces = whole((length_m - lap_m) / (stock_m - lap_m))
    return np.where(length_m > 0, np.maximum(pieces, 1.0), 0.0)


def pieces_pooled(runs_m: Iterable[Array], *, stock_m: float, lap_m: float) -> Array:
    """Stock pieces when offcuts are used again, by the better of two plans, draw by draw.

    One plan has the fewest joints: whole pieces and one rest a run, the rests cut together (first fit
    decreasing).  The other begins each run with what the run before left, which costs a lap more.
    Arguments as `pieces_without_reuse`, one array a run.
    """
    runs = [np.atleast_1d(np.asarray(run, dtype=np.float64)) for run in runs_m]
    if not runs:
        return np.zeros(1)
    whole_pieces, rests_m = _whole_and_rest(np.column_stack(runs), stock_m=stock_m, lap_m=lap_m)
    few_joints = whole_pieces.sum(axis=1) + count_first_fit(rests_m, stock=stock_m)
    pieces: Array = np.minimum(few_joints, _carried_on(runs, stock_m=stock_m, lap_m=lap_m))
    return pieces


@dataclass(frozen=True, slots=True, kw_only=True)
class StripPlan:
    """How the runs of one strip are cut."""

    pieces: int  # of stock, of the better of two plans
    bound: int  # whatever the joints, no plan takes fewer: length and least laps over the stock length
    few_joints: CutPlan  # of the rests, after the whole pieces
    whole_pieces: int

    @property
    def proven(self) -> bool:
        """Is it proved that no plan takes fewer?"""
        return self.pieces == self.bound


def plan_strips(runs_m: Sequence[float], *, stock_m: float, lap_m: float) -> StripPlan:
    """Plan the cutting of straight runs from stock, at one set of lengths.

    Parameters
    ----------
    runs_m : sequence of float
        Lengths of the runs [m], above 0.
    stock_m, lap_m : float
        Length of a piece and of the lap at a joint [m], lap < stock.

    Returns
    -------
    StripPlan
        `few_joints.proven` says whether no plan with the fewest joints takes fewer.
    """
    lengths = np.asarray(runs_m, dtype=np.float64)
    whole_pieces, rests_m = _whole_and_rest(lengths[None, :], stock_m=stock_m, lap_m=lap_m)
    few_joints = cut_stock([float(rest) for rest in rests_m[0] if rest > 0], stock=stock_m)
    n_whole = int(whole_pieces.sum())
    carried = int(_carried_on([np.array([run]) for run in lengths], stock_m=stock_m, lap_m=lap_m)[0])
    material_m = float(lengths.sum() + lap_m * whole_pieces.sum())
    return StripPlan(
        pieces=min(n_whole + few_joints.pieces, carried),
        bound=int(whole(np.array(material_m / stock_m))),
        few_joints=few_joints,
        whole_pieces=n_whole,
    )


def _whole_and_rest(length_m: Array, *, stock_m: float, lap_m: float) -> tuple[Array, Array]:
    """Whole pieces of each run, all but the last, and the length of the last."""
    pieces = pieces_without_reuse(length_m, stock_m=stock_m, lap_m=lap_m)
    whole_pieces: Array = np.maximum(pieces - 1, 0.0)
    rest_m: Array = np.minimum(length_m - whole_pieces * (stock_m - lap_m), stock_m)
    return whole_pieces, rest_m


def _carried_on(runs: Sequence[Array], *, stock_m: float, lap_m: float) -> Array:
    """Pieces when each run begins with the rest of the run before, if that is long enough to keep."""
    rest_m = np.zeros_like(runs[0])
    total = np.zeros_like(rest_m)
    least_m = max(LEAST_OFFCUT_M, 2 * lap_m)
    for length_m in runs:
        kept = rest_m >= least_m
        enough = kept & (rest_m >= length_m)
        open_m = np.where(kept, length_m - rest_m + lap_m, length_m)
        new = np.where(enough, 0.0, pieces_without_reuse(open_m, stock_m=stock_m, lap_m=lap_m))
        left_m = new * stock_m - np.maximum(new - 1, 0.0) * lap_m - open_m
        rest_m = np.where(enough, rest_m - length_m, np.where(length_m > 0, left_m, rest_m))
        total = total + np.where(length_m > 0, new, 0.0)
    return total


def _goes_on(roof: Roof, a: Edge, b: Edge) -> bool:
    """Do two edges share one end and go on from it in one direction?"""
    shared = {a.start, a.end} & {b.start, b.end}
    if len(shared) != 1:
        return False
    (at,) = shared
    away = [
        roof.vertices[edge.end if edge.start == at else edge.start] - roof.vertices[at] for edge in (a, b)
    ]
    bend = np.arctan2(np.linalg.norm(np.cross(*away)), -np.dot(*away))
    return bool(bend <= MAX_BEND_RAD)
