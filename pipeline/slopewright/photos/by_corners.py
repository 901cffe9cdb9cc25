"""Whether a job's marks alone make the roof: from the ground, or where photos do not join otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..errors import InputError
from ..scene import Notice
from .corners import CornerRoof
from .corners import run as roof_of_corners
from .cover import from_above
from .marked import MarkedLength
from .marked import run as place_by_marks
from .marks import Mark, Marks
from .model import Block
from .scale import KnownLength, board_corner
from .stage import place
from .targets import find_targets
from .triage import Triage

LEAST_CORNERS = 5  # a pyramid's; marked in two photos or more, ends of known lengths not counted


def place_or_trace(
    triage: Triage, marks: Marks, known: Sequence[KnownLength], *, rng: np.random.Generator
) -> Block | CornerRoof:
    """Photos placed by what they show; or, where marks do better, the roof that marked corners make.

    Parameters
    ----------
    triage : Triage
    marks : Marks
    known : KnownLength, ...
    rng : Generator

    Returns
    -------
    Block or CornerRoof
        Corners, if enough are marked and either all photos were taken from low down, where roofs are seen at
        a graze, or the photos do not join.

    Raises
    ------
    InputError
        If neither way leads to a roof.
    """
    ends = {name for length in known for name in length.marks or ()}
    names = {usable.photo.name for usable in triage.usable}
    corners = [m for m in marks.marks if m.name not in ends and len(set(m.photos) & names) >= 2]
    if len(corners) < LEAST_CORNERS:
        return place(triage, marks, known, rng=rng)
    try:
        traced = _traced(triage, marks, known, frozenset(ends), rng=rng)
    except InputError as error:
        block = place(triage, marks, known, rng=rng)
        text = f"{len(corners)} corners are marked, and not used as a roof: {error}"
        return replace(block, notices=(*block.notices, Notice(code="corners_not_used", text=text)))
    if not from_above(traced.marked.block):
        return traced
    try:
        return place(triage, marks, known, rng=rng)
    except InputError as error:
        text = f"the roof is by its marked corners alone: {error}"
        return _told(traced, (Notice(code="roof_by_corners", text=text),))


def _traced(
    triage: Triage,
    marks: Marks,
    known: Sequence[KnownLength],
    aside: frozenset[str],
    *,
    rng: np.random.Generator,
) -> CornerRoof:
    photos = {usable.photo.name: usable.photo for usable in triage.usable}
    marks.check_against({name: (photo.width_px, photo.height_px) for name, photo in photos.items()})
    targets = find_targets(tuple(photos), photos, {n for length in known for n in length.boards})
    both = Marks(file=marks.file, marks=(*marks.marks, *targets.corners))
    used = [length for length in known if not length.check_only]
    lengths = [piece for length in used for piece in _lengths(length, both.marks, targets.rim)]
    marked = place_by_marks(tuple(photos.values()), both, lengths, rng=rng)
    roof = roof_of_corners(marked, aside=aside | {corner.name for corner in targets.corners}, file=marks.file)
    if not triage.left_out:
        return roof
    text = "; ".join(f"{name}: {why}" for name, why in triage.left_out)
    told = _told(roof, (Notice(code="photos_left_out", text=f"photos not used: {text}"),))
    block = replace(told.marked.block, left_out=(*triage.left_out, *told.marked.block.left_out))
    return replace(told, marked=replace(told.marked, block=block))


def _lengths(length: KnownLength, marks: tuple[Mark, ...], rim: dict[int, float]) -> list[MarkedLength]:
    """A known length as the marks' adjustment takes it; a target's side counts as one length, not as four."""
    shared_m = 0.0
    pairs: list[tuple[tuple[str, ...], tuple[str, ...]]]
    if length.marks is not None:
        pairs = [((length.marks[0],), (length.marks[1],))]
    else:
        placed = {mark.name for mark in marks}
        squares = [tuple(board_corner(number, k) for k in range(4)) for number in length.boards]
        if not all(name in placed for square in squares for name in square):
            return []
        if len(squares) == 2:
            pairs = [(squares[0], squares[1])]
        else:
            pairs = [((squares[0][k],), (squares[0][(k + 1) % 4],)) for k in range(4)]
            shared_m = rim[length.boards[0]] * length.length_m
    u_m = float(np.hypot(length.u_m, shared_m) * np.sqrt(len(pairs)))
    return [MarkedLength(name=length.title, ends=p, length_m=length.length_m, u_m=u_m) for p in pairs]


def _told(roof: CornerRoof, notices: tuple[Notice, ...]) -> CornerRoof:
    block = roof.marked.block
    return replace(
        roof, marked=replace(roof.marked, block=replace(block, notices=(*block.notices, *notices)))
    )
