"""Joints moved so that no piece at the end of a course is narrower than the least.  Metres."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ...scene import Array
from .pattern import Pattern
from .trapezoids import Index

NEAR_M = 1e-6  # two ends this close are one joint


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """How far joints lie from the pattern's grid [m], by course and number of the joint."""

    by: dict[tuple[int, int], float] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.by)

    def shift(self, course: Index, joint: Index) -> Array:
        """How far each joint is moved, shape (n,)."""
        shift = np.zeros(len(course))
        if self.by:
            keys = np.array(list(self.by), dtype=np.int64)
            span = int(max(np.abs(joint).max(initial=0), np.abs(keys[:, 1]).max())) + 1
            known, order = np.unique(keys[:, 0] * 2 * span + keys[:, 1], return_index=True)
            wanted = course * 2 * span + joint
            place = np.minimum(np.searchsorted(known, wanted), len(known) - 1)
            values = np.array(list(self.by.values()))[order]
            shift = np.where(known[place] == wanted, values[place], 0.0)
        return shift


def move_joints(
    course: Index, slot: Index, start_m: Array, end_m: Array, *, pattern: Pattern, first_joint: float
) -> tuple[Moved, int]:
    """Where a course begins or ends with a sliver, widen it at its neighbour's expense.

    The joint goes to the nearest place where both pieces have the least width and the joints of the courses
    below and above keep the least stagger.  Stagger comes first: without such a place the sliver stays.

    Parameters
    ----------
    course, slot : array of int, shape (n,)
        Of the pieces, in order of course and slot.
    start_m, end_m : array, shape (n,)
        Their extents.
    pattern : Pattern
    first_joint : float
        Where joint 0 of course 0 lies [m].

    Returns
    -------
    Moved, int
        And the number of slivers that stay.
    """
    least = pattern.least_piece_m
    narrow = end_m - start_m < least - NEAR_M
    joined = (np.diff(course) == 0) & (np.diff(slot) == 1) & (np.abs(start_m[1:] - end_m[:-1]) < NEAR_M)
    begins = np.concatenate([[True], ~joined]) & narrow & np.concatenate([joined, [False]])
    ends = np.concatenate([~joined, [True]]) & narrow & np.concatenate([[False], joined])
    start, end = start_m.copy(), end_m.copy()
    by: dict[tuple[int, int], float] = {}
    kept = 0

    def line(k: int, joint: int) -> float:
        return first_joint - (k % pattern.repeat) * pattern.stagger_m + joint * pattern.width_m

    def neighbours(k: int, x: float) -> list[float]:
        near = []
        for other in (k - 1, k + 1):
            middle = round((x - line(other, 0)) / pattern.width_m)
            near += [line(other, j) + by.get((other, j), 0.0) for j in range(middle - 1, middle + 2)]
        return near

    for i in np.nonzero(begins | ends)[0]:
        k = int(course[i])
        if begins[i]:
            joint, low, high = int(slot[i]) + 1, start[i] + least, end[i + 1] - least
            nearest = low
        else:
            joint, low, high = int(slot[i]), start[i - 1] + least, end[i] - least
            nearest = high
        near = neighbours(k, nearest)
        places = [nearest] + [
            x + side for x in near for side in (-pattern.least_stagger_m, pattern.least_stagger_m)
        ]
        fitting = [
            x
            for x in places
            if low - NEAR_M <= x <= high + NEAR_M
            and all(abs(x - other) >= pattern.least_stagger_m - NEAR_M for other in near)
        ]
        if not fitting:
            kept += 1
            continue
        place = min(fitting, key=lambda x: abs(x - nearest))
        by[k, joint] = place - line(k, joint)
        if begins[i]:
            end[i] = start[i + 1] = place
        else:
            start[i] = end[i - 1] = place
    return Moved(by=by), kept
