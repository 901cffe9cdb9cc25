"""Strips cut from stock pieces along straight runs of edges.  Metres."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ..roof import Edge, Roof
from ..scene import Array

MAX_BEND_RAD = np.deg2rad(2.0)  # a strip of metal or felt follows this much at a joint
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
    """Fewest stock pieces that any reuse of offcuts could reach: length and laps over the stock length.

    Arguments as `pieces_without_reuse`, one array a run.  No cutting plan needs fewer; whether a plan reaches
    it is not proved here.
    """
    material = np.zeros(())
    for length_m in runs_m:
        joints = np.maximum(pieces_without_reuse(length_m, stock_m=stock_m, lap_m=lap_m) - 1, 0.0)
        material = material + length_m + joints * lap_m
    return whole(material / stock_m)


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
