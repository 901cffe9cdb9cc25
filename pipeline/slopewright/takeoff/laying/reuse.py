"""From which module each piece is cut, under a policy for offcuts.  Metres."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from ...scene import lock
from .cells import ROUNDING_M, Cells
from .pattern import Pattern
from .trapezoids import Index

ROUND_LEAN = 3  # decimals: ends that lean alike to a thousandth nest


class Policy(StrEnum):
    """What becomes of the rest of a module that was cut."""

    NONE = "none"  # thrown away: every piece takes a module of its own
    PLANE = "plane"  # kept while its plane is laid, used for a later piece that it is large enough for
    POOLED = "pooled"  # all pieces of the roof are cut from as few modules as the cutter finds


POLICY_RULES = {
    Policy.NONE: "every cut piece takes a new module",
    Policy.PLANE: "offcuts are used on the plane they fell on, in the order of laying, best fit first",
    Policy.POOLED: "pieces of all planes are cut together, widest first, best fit",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cutting:
    """Modules that pieces are cut from, plane by plane."""

    policy: Policy
    modules: int
    source: tuple[Index, ...]  # (n,) for each plane: number of the module that the piece is cut from

    def __post_init__(self) -> None:
        lock(*self.source)


@dataclass(slots=True)
class _Offcuts:
    """Rests on hand, by how their cut end leans; each list ascending by width."""

    least_m: float
    by_lean: dict[float, list[tuple[float, int]]] = field(default_factory=dict)

    def keep(self, width_m: float, lean: float, height_m: float, module: int) -> None:
        """Put by what is square, and the wedge that leans over it, if together they are wide enough."""
        if width_m + abs(lean) * height_m >= self.least_m:
            insort(self.by_lean.setdefault(lean, []), (width_m, module))

    def take(self, width_m: float, lean: float, height_m: float) -> tuple[float, int] | None:
        """The narrowest rest that the piece fits into; what is left of its width, and its module."""
        best: tuple[float, float, int] | None = None
        for cut, rests in self.by_lean.items():
            nested = min(abs(cut), abs(lean)) * height_m if cut * lean > 0 else 0.0
            place = bisect_left(rests, (width_m - nested - ROUNDING_M, -1))
            if place < len(rests):
                left = rests[place][0] + nested - width_m
                if best is None or left < best[0]:
                    best = (left, cut, place)
        if best is None:
            return None
        left, cut, place = best
        return max(left, 0.0), self.by_lean[cut].pop(place)[1]


def cut_pieces(planes: Sequence[Cells], pattern: Pattern, policy: Policy) -> Cutting:
    """Cut all pieces from modules.

    Parameters
    ----------
    planes : sequence of Cells
        Pieces of each plane.
    pattern : Pattern
    policy : Policy

    Returns
    -------
    Cutting
        Of "pooled" the better of pooling and of cutting plane by plane, so that it never takes more modules
        than "plane", nor "plane" more than "none".

    Notes
    -----
    What binds: a piece keeps its butt, so that it is moved sideways only, neither turned nor flipped.  Ends
    that lean to one side nest; an end of the other hand does not fit and is cut from the square rest.  Joints
    stay where the pattern puts them: no two offcuts stand in for a whole module.  A rest narrower than the
    least piece is thrown away.
    """
    ends = np.cumsum([len(cells.course) for cells in planes])
    n = int(ends[-1]) if planes else 0
    if policy is Policy.NONE:
        return Cutting(policy=policy, modules=n, source=_by_plane(np.arange(n), ends))
    modules, source = _cut(planes, pattern, np.split(np.arange(n), ends[:-1]))
    if policy is Policy.POOLED:
        width = np.concatenate([cells.width_m for cells in planes]) if planes else np.zeros(0)
        pooled = _cut(planes, pattern, [np.argsort(-width, kind="stable")])
        if pooled[0] <= modules:
            modules, source = pooled
    return Cutting(policy=policy, modules=modules, source=_by_plane(source, ends))


def _cut(planes: Sequence[Cells], pattern: Pattern, batches: Iterable[Index]) -> tuple[int, Index]:
    """Cut batch after batch of the pieces of all planes in a row; offcuts are kept within one."""
    width = np.concatenate([cells.width_m for cells in planes]) if planes else np.zeros(0)
    ends = np.cumsum([len(cells.course) for cells in planes])
    source = np.arange(len(width))  # at first each from a module of its own
    lean = np.zeros((2, len(width)))
    for side, leans in enumerate(("left_lean", "right_lean")):
        for cells, rows in zip(planes, _by_plane(source, ends), strict=True):
            full = cells.height_m >= pattern.height_m - ROUNDING_M  # what is cut at its head nests nowhere
            lean[side, rows] = np.where(full, getattr(cells, leans).round(ROUND_LEAN), 0.0)
    narrow = width < pattern.width_m - ROUNDING_M
    cut = narrow | (lean[1] != 0)
    least_m = max(pattern.least_piece_m, ROUNDING_M)
    widths, lefts, rights, narrows = width.tolist(), lean[0].tolist(), lean[1].tolist(), narrow.tolist()
    for batch in batches:
        offcuts = _Offcuts(least_m=least_m)
        for piece in batch[cut[batch]].tolist():
            fitting = None
            if narrows[piece]:
                fitting = offcuts.take(widths[piece], lefts[piece], pattern.height_m)
            rest, module = fitting or (pattern.width_m - widths[piece], piece)
            source[piece] = module
            offcuts.keep(rest, rights[piece], pattern.height_m, module)
    taken, source = np.unique(source, return_inverse=True)
    return len(taken), source


def _by_plane(rows: Index, ends: Index) -> tuple[Index, ...]:
    return tuple(np.split(rows, ends[:-1])) if len(ends) else ()
