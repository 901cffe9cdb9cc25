"""Rings cut into the pieces of courses: where each module lies, and what of it is laid.  Metres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ...scene import Array, lock
from .joints import NEAR_M, Moved, move_joints
from .pattern import Pattern
from .trapezoids import Index, Trapezoids, clipped_area, trapezoids

ROUNDING_M = 1e-6  # widths and heights below it are rounding, not pieces
ROUNDING_M2 = 1e-9
LEAN_M = 0.05  # a rake that leans out by less is out of square; each course starts at it all the same


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """One row a piece, course by course upward, each from its start on; all arrays have shape (n,).

    A piece is what is left of a module that is cut along the rings: rows `start_m` to `end_m`, from the
    course's butt up to its head.  It is laid where its face shows.
    """

    course: Index  # from 0 at the lowest corner
    start_m: Array  # u of its extent, face and head
    end_m: Array
    height_m: Array  # of its extent
    face_m2: Array  # what it shows
    laid_m2: Array  # face and head; the head lies under the courses above
    left_lean: Array  # du/dv of a slanted end that is straight from butt to head, else 0
    right_lean: Array
    kept_slivers: int  # pieces narrower than the least, which no joint could be moved to widen

    def __post_init__(self) -> None:
        lock(self.course, self.start_m, self.end_m, self.height_m, self.face_m2, self.laid_m2)
        lock(self.left_lean, self.right_lean)

    @property
    def width_m(self) -> Array:
        """Of the extents."""
        width: Array = self.end_m - self.start_m
        return width


def cut_courses(rings: Sequence[Array], pattern: Pattern) -> Cells:
    """Lay courses over rings from the lowest corner up, and cut them where they leave the rings.

    Parameters
    ----------
    rings : sequence of arrays, shape (k, 2)
        What is to be covered: outer ring and holes [m], v up the slope.
    pattern : Pattern
        Module, exposure, stagger.

    Returns
    -------
    Cells
        Their faces add up to the area of the rings.
    """
    if pattern.mirrored:
        return _mirrored(
            cut_courses([ring * [-1.0, 1.0] for ring in rings], replace(pattern, mirrored=False))
        )
    corners = np.concatenate(rings)
    base, top = float(corners[:, 1].min()), float(corners[:, 1].max())
    first_joint = _first_joint(corners, base)
    butts = base + np.arange(int(np.ceil((top - base) / pattern.exposure_m)) + 1) * pattern.exposure_m
    shapes = trapezoids(rings, np.concatenate([butts, butts + pattern.height_m]))
    cells, slots = _cells(shapes, pattern, base, first_joint, Moved())
    moved, kept = move_joints(
        cells.course, slots, cells.start_m, cells.end_m, pattern=pattern, first_joint=first_joint
    )
    if moved:
        cells, _ = _cells(shapes, pattern, base, first_joint, moved)
    return replace(cells, kept_slivers=kept)


def _first_joint(corners: Array, base: float) -> float:
    """Where the first course starts: at its lowest corner, or as far out as the side above it leans."""
    foot = float(corners[corners[:, 1] <= base + ROUNDING_M, 0].min())
    return float(corners[corners[:, 0] > foot - LEAN_M, 0].min())


def _cells(
    shapes: Trapezoids, pattern: Pattern, base: float, first_joint: float, moved: Moved
) -> tuple[Cells, Index]:
    """Pieces of all courses, and the slot of the joint grid that each fills."""
    lying = (shapes.low + shapes.high) / 2 - base
    shown = np.floor(lying / pattern.exposure_m).astype(np.int64)
    deep = int(np.ceil(pattern.height_m / pattern.exposure_m))
    row = np.tile(np.arange(len(lying)), deep)
    course = np.concatenate([shown - below for below in range(deep)])
    reached = (course >= 0) & (lying[row] < course * pattern.exposure_m + pattern.height_m)
    row, course = row[reached], course[reached]

    origin = first_joint - (course % pattern.repeat) * pattern.stagger_m
    from_m = np.minimum(shapes.left_low, shapes.left_high)[row]
    to_m = np.maximum(shapes.right_low, shapes.right_high)[row]
    spare = 1 if moved else 0  # a moved joint lets a piece reach into the slot beside it
    first = np.floor((from_m - origin) / pattern.width_m).astype(np.int64) - spare
    last = np.floor((to_m - origin) / pattern.width_m).astype(np.int64) + spare
    times = last - first + 1
    each = np.repeat(np.arange(len(row)), times)
    slot = first[each] + np.arange(len(each)) - np.repeat(np.cumsum(times) - times, times)
    row, course, origin = row[each], course[each], origin[each]
    slot_low = origin + slot * pattern.width_m + moved.shift(course, slot)
    slot_high = origin + (slot + 1) * pattern.width_m + moved.shift(course, slot + 1)
    start = np.maximum(from_m[each], slot_low)
    end = np.minimum(to_m[each], slot_high)
    some = end - start > ROUNDING_M
    row, course, slot, start, end = row[some], course[some], slot[some], start[some], end[some]
    slot_low, slot_high = slot_low[some], slot_high[some]

    area = clipped_area(shapes, row, slot_low, slot_high)
    face = np.where(shown[row] == course, area, 0.0)
    left = _side(shapes.left_low[row], shapes.left_high[row], shapes.left_side[row], slot_low, slot_high)
    right = _side(shapes.right_low[row], shapes.right_high[row], shapes.right_side[row], slot_low, slot_high)

    order = np.lexsort((slot, course))
    key_course, key_slot = course[order], slot[order]
    new = np.concatenate([[True], (np.diff(key_course) != 0) | (np.diff(key_slot) != 0)])
    at = np.nonzero(new)[0]

    def total(values: Array) -> Array:
        added: Array = np.add.reduceat(values[order], at)
        return added

    def least(values: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        found: npt.NDArray[np.generic] = np.minimum.reduceat(values[order], at)
        return found

    def most(values: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        found: npt.NDArray[np.generic] = np.maximum.reduceat(values[order], at)
        return found

    low, high = least(shapes.low[row]), most(shapes.high[row])
    height = np.asarray(high, dtype=np.float64) - np.asarray(low, dtype=np.float64)
    in_one = np.abs(total(shapes.high[row] - shapes.low[row]) - height) < ROUNDING_M

    def lean(side: Index) -> Array:
        one = np.asarray(least(side), dtype=np.int64)
        straight = in_one & (one >= 0) & (one == most(side))
        return np.where(straight, shapes.lean[one], 0.0)

    face_m2 = total(face)
    laid = face_m2 > ROUNDING_M2
    cells = Cells(
        course=key_course[at][laid],
        start_m=np.asarray(least(start), dtype=np.float64)[laid],
        end_m=np.asarray(most(end), dtype=np.float64)[laid],
        height_m=height[laid],
        face_m2=face_m2[laid],
        laid_m2=total(area)[laid],
        left_lean=lean(left)[laid],
        right_lean=lean(right)[laid],
        kept_slivers=0,
    )
    return cells, key_slot[at][laid]


def _side(x_low: Array, x_high: Array, side: Index, slot_low: Array, slot_high: Array) -> Index:
    """Number of the ring's side where it ends the piece all the way, -1 where a joint cuts in."""
    free = (np.minimum(x_low, x_high) >= slot_low - NEAR_M) & (
        np.maximum(x_low, x_high) <= slot_high + NEAR_M
    )
    return np.where(free, side, -1)


def _mirrored(cells: Cells) -> Cells:
    """Seen from behind: pieces stay in the order of laying, which now runs to the left."""
    return Cells(
        course=cells.course,
        start_m=-cells.end_m,
        end_m=-cells.start_m,
        height_m=cells.height_m,
        face_m2=cells.face_m2,
        laid_m2=cells.laid_m2,
        left_lean=-cells.right_lean,
        right_lean=-cells.left_lean,
        kept_slivers=cells.kept_slivers,
    )
