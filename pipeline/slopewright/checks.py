"""What a run was held against, and what came of it: the types behind tape.json and compare.json.

Metres and square metres for tapes; a comparison is in the unit of its line.
"""

from __future__ import annotations

from dataclasses import dataclass

from .measurement import Measurement

Point = tuple[float, float, float]

AGREE, CONFLICT, CANNOT_TELL = "agree", "conflict", "cannot_tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What may explain a difference, with its share of the odds among all that was considered."""

    kind: str  # "wrong_edge", "missed_face", ...
    text: str
    odds: float  # 0..1
    about: tuple[str, ...] = ()  # ids of planes and edges


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeReading:
    """One tape measurement as it was told."""

    where: str  # "tape.csv line 4", "job.toml tape measurement 1"
    of: str  # "e3", "e3+e4", "e1/e4 to e2/e7", ...
    edges: tuple[str, ...] = ()  # whose lengths add up to it
    corners: tuple[int, int] | None = None  # rows of Roof.vertices
    ends: tuple[Point, Point] | None = None  # points of the cloud, local [m]
    stated: str  # as written, with its unit
    length_m: float
    u_m: float  # standard uncertainty
    how: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeResult:
    """How a reading stands to the roof."""

    reading: TapeReading
    model: Measurement  # [m] by the roof, before any adjustment to this reading
    e_n: float  # reading less model over the root of the summed squares of expanded uncertainties
    verdict: str  # "agree", "conflict" or "cannot_tell"
    reason: str = ""  # of "cannot_tell"
    causes: tuple[Cause, ...] = ()  # of a conflict, likeliest first
    used: bool = False  # the roof was adjusted to it


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeCheck:
    """All readings together."""

    results: tuple[TapeResult, ...]
    limit: float  # of |E_n| from which a reading is in conflict: one false alarm in a hundred such lists
    scale: Measurement | None  # relative difference common to all readings; None of fewer than two
    scale_conflict: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Theirs:
    """One line of another party's list, in the unit of ours."""

    where: str  # "other.csv line 4"
    item: str  # in their words
    ours: str  # name of our quantity
    unit: str
    quantity: float
    step: float  # what its last figure stands for
    in_packages: bool  # the quantity is of what is ordered


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedLine:
    """A line of the other party's list beside ours."""

    where: str  # "other.csv line 4"
    item: str  # in their words
    ours: str  # name of our quantity
    unit: str
    theirs: float
    net: Measurement
    with_waste: Measurement | None  # where something is bought on top
    difference: float  # theirs less ours; ours is net, or with waste where that is nearer
    basis: str  # "net" or "net + waste"
    within: bool  # their number is inside our 95 % bound
    chance_more: float  # 0..1, that the true quantity is above theirs
    origin: tuple[str, ...]  # planes and edges


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two lists of quantities, and what could explain where they differ."""

    lines: tuple[ComparedLine, ...]
    causes: tuple[Cause, ...]  # likeliest first
    left_out: tuple[str, ...]  # lines that the mapping ignores
