"""Cutting stock: the fewest pieces that all wanted lengths can be cut from, with a proof.  Any one unit."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog

from ..errors import InputError
from ..scene import Array

FIT_TOLERANCE = 1e-6  # of a stock piece: so much over is rounding of feet and metres, not length
PRICE_TOLERANCE = 1e-7  # a pattern must save more than this share of a piece to be worth a column
MAX_ROUNDS = 300  # of column generation; a house needs 5 to 40
MAX_STEPS = 10_000  # of the search: steps, not seconds, so that every machine finds the same plan
MAX_ITEMS = 400  # of one search, which goes as deep as there are lengths
GRID = 10_000  # cells of a stock piece when patterns are priced: 0.3 mm of ten feet, finer than any cut
GRID_ROUNDING = 1e-3  # of a cell; lengths on the grid stay on it

Pattern = tuple[int, ...]  # how many of each distinct length are cut from one stock piece


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPlan:
    """Which lengths are cut from each stock piece."""

    cuts: tuple[tuple[float, ...], ...]  # one tuple a stock piece, longest cut first
    bound: int  # no plan takes fewer pieces

    @property
    def pieces(self) -> int:
        """Stock pieces taken."""
        return len(self.cuts)

    @property
    def proven(self) -> bool:
        """Is it proved that no plan takes fewer?"""
        return self.pieces == self.bound


def cut_stock(lengths: Sequence[float], *, stock: float) -> CutPlan:
    """Cut lengths from as few stock pieces as can be found, and bound how few could do.

    Parameters
    ----------
    lengths : sequence of float
        Wanted lengths, each above 0 and at most `stock`.
    stock : float
        Length of a stock piece.

    Returns
    -------
    CutPlan
        `proven` where the number of pieces equals the bound.

    Raises
    ------
    InputError
        If a length is not finite, not above 0, or longer than the stock.

    Notes
    -----
    First fit decreasing.  If it does not meet the bound of total length, the linear program over cutting
    patterns gives a better one by column generation [1]_, its prices scaled to be feasible so that the bound
    holds whatever the solver's rounding [2]_.  A depth-first search then places what the whole patterns of
    the linear program leave; where it ends without a better plan, and nothing was fixed, that is a proof too.

    References
    ----------
    .. [1] P. C. Gilmore, R. E. Gomory, "A linear programming approach to the cutting-stock problem," Oper.
       Res. 9(6), 849-859, 1961, doi:10.1287/opre.9.6.849.
    .. [2] A. A. Farley, "A note on bounding a class of linear programming problems, including cutting stock
       problems," Oper. Res. 38(5), 922-923, 1990, doi:10.1287/opre.38.5.922.
    """
    if not (math.isfinite(stock) and stock > 0):
        raise InputError(f"stock: got {stock:g}, need a length above 0")
    for length in lengths:
        if not 0 < length <= stock * (1 + FIT_TOLERANCE):
            raise InputError(f"lengths: got {length:g}, need above 0 and at most the stock of {stock:g}")
    count = Counter(float(length) for length in lengths)
    sizes = sorted(count, reverse=True)
    wanted = [count[size] for size in sizes]
    room = stock * (1 + FIT_TOLERANCE)
    plan = _first_fit_decreasing(sizes, wanted, room)
    bound = math.ceil(math.fsum(lengths) / room - FIT_TOLERANCE)
    if len(plan) > bound:
        better, bound = _by_patterns(sizes, wanted, room, plan, bound)
        plan = better if len(better) < len(plan) else plan
    cuts = tuple(
        tuple(size for size, k in zip(sizes, pattern, strict=True) for _ in range(k)) for pattern in plan
    )
    return CutPlan(cuts=cuts, bound=bound)


def count_first_fit(lengths: Array, *, stock: float) -> Array:
    """Stock pieces that first fit decreasing takes, row by row.

    Parameters
    ----------
    lengths : array, shape (n, k)
        Wanted lengths of n independent cases, 0 where there is none.
    stock : float
        Length of a stock piece, at least the longest.

    Returns
    -------
    array, shape (n,)
        At most 11/9 of the fewest and one more (D. S. Johnson, 1973), and usually the fewest.
    """
    ordered = -np.sort(-np.asarray(lengths, dtype=np.float64), axis=1)
    n, k = ordered.shape
    left = np.full((n, k), stock * (1 + FIT_TOLERANCE))
    rows = np.arange(n)
    for j in range(k):
        length = ordered[:, j]
        at = np.argmax(left[:, : j + 1] >= length[:, None], axis=1)
        left[rows, at] -= length
    taken: Array = (left < stock).sum(axis=1).astype(np.float64)
    return taken


def _first_fit_decreasing(sizes: Sequence[float], wanted: Sequence[int], room: float) -> list[Pattern]:
    left: list[float] = []
    bins: list[list[int]] = []
    for i, (size, times) in enumerate(zip(sizes, wanted, strict=True)):
        for _ in range(times):
            at = next((j for j, rest in enumerate(left) if rest >= size), None)
            if at is None:
                left.append(room)
                bins.append([0] * len(sizes))
                at = len(bins) - 1
            left[at] -= size
            bins[at][i] += 1
    return [tuple(pattern) for pattern in bins]


def _by_patterns(
    sizes: Sequence[float], wanted: Sequence[int], room: float, plan: Sequence[Pattern], bound: int
) -> tuple[list[Pattern], int]:
    """A plan from the patterns of the linear program, and the bound."""
    patterns = sorted({*plan, *_single(sizes, wanted, room)}, reverse=True)
    demand = np.array(wanted, dtype=np.float64)
    shares = np.zeros(0)
    for _ in range(MAX_ROUNDS):
        columns = np.array(patterns, dtype=np.float64).T
        solved = linprog(np.ones(len(patterns)), A_ub=-columns, b_ub=-demand, method="highs")
        if not solved.success:
            break
        shares = solved.x
        prices = np.maximum(-solved.ineqlin.marginals, 0.0)
        best, worth = _best_pattern(sizes, wanted, room, prices)
        bound = max(bound, math.ceil(float(demand @ prices) / max(worth, 1.0) - FIT_TOLERANCE))
        if worth <= 1 + PRICE_TOLERANCE or best in patterns or bound == len(plan):
            break
        patterns.append(best)
    if bound == len(plan):
        return list(plan), bound
    times = np.floor(shares + FIT_TOLERANCE).astype(int)
    taken = _without_surplus([p for p, k in zip(patterns, times, strict=False) for _ in range(k)], wanted)
    rest = [n - sum(p[i] for p in taken) for i, n in enumerate(wanted)]
    packed, exhausted = _search(sizes, rest, room, most=len(plan) - 1 - len(taken), enough=bound - len(taken))
    if packed is not None:
        return [*taken, *packed], len(taken) + len(packed) if exhausted and not taken else bound
    return list(plan), len(plan) if exhausted and not taken else bound


def _search(
    sizes: Sequence[float], wanted: Sequence[int], room: float, *, most: int, enough: int
) -> tuple[list[Pattern] | None, bool]:
    """Place lengths one by one, longest first, in every way that could take at most `most` pieces.

    Returns the best plan found, None without one, and whether nothing was left untried.
    """
    items = [i for i, k in enumerate(wanted) for _ in range(k)]
    if most < 0 or not items or len(items) > MAX_ITEMS:
        return ([], True) if not items and most >= 0 else (None, most < 0)
    after = [0.0, *itertools.accumulate(sizes[i] for i in reversed(items))][::-1]  # length from item j on
    left: list[float] = []
    place = [-1] * len(items)
    best: list[int] | None = None
    steps = 0

    def go(j: int) -> bool:
        """False when the search is given up or has enough."""
        nonlocal best, most, steps
        steps += 1
        if steps > MAX_STEPS:
            return False
        if j == len(items):
            best, most = place.copy(), len(left) - 1
            return most >= enough
        usable = math.fsum(x for x in left if x >= sizes[items[-1]])
        if len(left) + math.ceil((after[j] - usable) / room - FIT_TOLERANCE) > most:
            return True
        size = sizes[items[j]]
        first = place[j - 1] if j > 0 and items[j] == items[j - 1] else 0  # equal lengths in one order only
        tried = set()
        for b in sorted(range(first, len(left)), key=lambda b: left[b]):
            if left[b] >= size and left[b] not in tried:
                tried.add(left[b])
                before = left[b]
                left[b] -= size
                place[j] = b
                if not go(j + 1):
                    return False
                left[b] = before
        if len(left) < most:
            left.append(room - size)
            place[j] = len(left) - 1
            if not go(j + 1):
                return False
            left.pop()
        return True

    whole = go(0)
    if best is None:
        return None, whole
    plan = [[0] * len(sizes) for _ in range(max(best) + 1)]
    for item, b in zip(items, best, strict=True):
        plan[b][item] += 1
    return [tuple(pattern) for pattern in plan], whole


def _single(sizes: Sequence[float], wanted: Sequence[int], room: float) -> list[Pattern]:
    """One pattern a size: as many of it as fit."""
    n = len(sizes)
    fit = [min(wanted[i], int(room / sizes[i])) for i in range(n)]
    return [tuple(fit[i] if j == i else 0 for j in range(n)) for i in range(n)]


def _best_pattern(
    sizes: Sequence[float], wanted: Sequence[int], room: float, prices: Array
) -> tuple[Pattern, float]:
    """A pattern of high price that fits, and a price that no pattern exceeds.

    Lengths are rounded to a grid: downwards, so that the price found is a bound.  If that pattern does not
    fit after all, upwards, so that the pattern does.
    """
    cells = np.array(sizes) * (GRID / room)
    loose, bound = _knapsack(np.floor(cells + GRID_ROUNDING).astype(np.int64), wanted, prices)
    if math.fsum(size * k for size, k in zip(sizes, loose, strict=True)) <= room:
        return loose, bound
    return _knapsack(np.ceil(cells - GRID_ROUNDING).astype(np.int64), wanted, prices)[0], bound


def _knapsack(cells: npt.NDArray[np.int64], wanted: Sequence[int], prices: Array) -> tuple[Pattern, float]:
    """Highest price of at most `wanted` each in the grid: dynamic programming over lots of 1, 2, 4, ..."""
    worth = np.zeros(GRID + 1)
    lots: list[tuple[int, int, int, npt.NDArray[np.bool_]]] = []
    for i, (size, price) in enumerate(zip(cells.tolist(), prices.tolist(), strict=True)):
        left = min(wanted[i], GRID // size) if size > 0 else wanted[i]
        lot = 1
        while left > 0 and price > 0:
            lot = min(lot, left)
            length = lot * size
            taken = worth[: GRID + 1 - length] + lot * price
            better = np.zeros(GRID + 1, dtype=bool)
            better[length:] = taken > worth[length:]
            worth[length:] = np.maximum(worth[length:], taken)
            lots.append((i, lot, length, better))
            left -= lot
            lot *= 2
    at, counts = GRID, [0] * len(wanted)
    for i, lot, length, better in reversed(lots):
        if better[at]:
            counts[i] += lot
            at -= length
    return tuple(counts), float(worth[GRID])


def _without_surplus(taken: Sequence[Pattern], wanted: Sequence[int]) -> list[Pattern]:
    """Patterns cut no more than is wanted."""
    left = list(wanted)
    kept = []
    for pattern in taken:
        used = tuple(min(k, rest) for k, rest in zip(pattern, left, strict=True))
        left = [rest - k for rest, k in zip(left, used, strict=True)]
        if any(used):
            kept.append(used)
    return kept
