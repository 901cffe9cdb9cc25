"""What most likely went wrong with a reading that contradicts the roof.

Every explanation predicts a difference with its own doubt; its odds are its weight times how well it predicts
what was read, among all explanations, "something else" included (Bayes' rule).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..checks import Cause, TapeReading
from ..measurement import Measurement
from ..roof import Edge, Roof
from ..scene import Array, EdgeKind
from ..units import feet_and_inches
from .slips import slips

# How often each is met before anything is read: common practice, and no more than an order of likelihood.
WEIGHTS = {
    "wrong_edge": 0.25,  # shared by all other edges
    "neighbour": 0.10,  # shared by the edges that go on in its line
    "plan_length": 0.15,
    "wall_line": 0.15,
    "foot_inch": 0.10,
    "miscounted": 0.10,  # shared
    "digits": 0.06,  # shared
    "unit": 0.04,  # shared
    "other": 0.10,
}
OTHER_SPAN = 0.5  # of the length: how far off something else may put it, either way
STRAIGHT_COS = math.cos(math.radians(2.0))  # edges that go on in a line
SLOPED = 0.02  # share by which plan and slope length differ, below which nobody can tell
OVERHANG_M, OVERHANG_U_M = 0.45, 0.20  # of a house that does not say: 0 to 3 ft, common practice
TOLD_OVERHANG_U_M = 0.03
LEAST_ODDS = 0.03
MOST_SHOWN = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class _Idea:
    kind: str
    text: str
    share: float  # of the kind's weight
    miss_m: float  # what would still be unexplained
    u_m: float
    about: tuple[str, ...] = ()


def likely_causes(
    reading: TapeReading,
    model: Measurement,
    roof: Roof,
    *,
    overhang_m: float | None,
    scale: Measurement | None,
) -> tuple[Cause, ...]:
    """Explanations of a reading in conflict, likeliest first, those of next to no odds left out.

    Parameters
    ----------
    reading : TapeReading
    model : Measurement
        Its length by the roof [m].
    roof : Roof
    overhang_m : float or None
        Of the eaves, where the job says it.
    scale : Measurement or None
        The relative difference that all readings share, where that is in conflict.
    """
    if scale is not None:
        text = f"the same share as all readings, {scale.value:+.2%}: the scale of the cloud, or the tape's"
        return (Cause(kind="scale", text=text, odds=1.0),)
    ideas = list(_ideas(reading, model, roof, overhang_m))
    found = [(idea, WEIGHTS[idea.kind] * idea.share * _density(idea.miss_m, idea.u_m)) for idea in ideas]
    other = WEIGHTS["other"] / (2 * OTHER_SPAN * max(model.value, reading.length_m))
    total = sum(weight for _, weight in found) + other
    causes = [
        Cause(kind=idea.kind, text=idea.text, odds=weight / total, about=idea.about)
        for idea, weight in found
        if weight / total >= LEAST_ODDS
    ]
    causes.sort(key=lambda cause: -cause.odds)
    if not causes or other / total >= LEAST_ODDS:
        causes.append(
            Cause(
                kind="other",
                text="none of the usual slips: tape it again, and look whether the plan has this edge right",
                odds=other / total,
            )
        )
        causes.sort(key=lambda cause: -cause.odds)
    return tuple(causes[:MOST_SHOWN])


def _ideas(reading: TapeReading, model: Measurement, roof: Roof, overhang_m: float | None) -> Iterator[_Idea]:
    taped, u = reading.length_m, math.hypot(reading.u_m, model.u)
    if len(reading.edges) == 1:
        edge = next(edge for edge in roof.edges if edge.id == reading.edges[0])
        others = [other for other in roof.edges if other.id != edge.id]
        for other in others:
            yield _Idea(
                kind="wrong_edge",
                text=f"{other.id} was taped ({other.kind.replace('_', ' ')}, {_both(other.length.value)})",
                share=1 / len(others),
                miss_m=taped - other.length.value,
                u_m=math.hypot(reading.u_m, other.length.u),
                about=(other.id,),
            )
        onward = [other for other in others if _goes_on(roof, edge, other)]
        for other in onward:
            yield _Idea(
                kind="neighbour",
                text=f"the tape ran on over {other.id}, which goes on in the same line",
                share=1 / len(onward),
                miss_m=taped - model.value - other.length.value,
                u_m=math.hypot(u, other.length.u),
                about=(other.id,),
            )
        yield from _other_lines(edge, taped, u, model, roof, overhang_m)
    slipped = slips(reading.stated, taped)
    for slip in slipped:
        same = sum(other.kind == slip.kind for other in slipped)
        yield _Idea(
            kind=slip.kind,
            text=slip.text,
            share=1 / same,
            miss_m=slip.length_m - model.value,
            u_m=math.hypot(model.u, reading.u_m * slip.length_m / taped),
        )


def _other_lines(
    edge: Edge, taped: float, u: float, model: Measurement, roof: Roof, overhang_m: float | None
) -> Iterator[_Idea]:
    """Lines that are taken for the edge: its plan, the wall below it."""
    along = roof.vertices[edge.end] - roof.vertices[edge.start]
    level = float(np.hypot(*along[:2]) / np.linalg.norm(along))
    if level < 1 - SLOPED:
        yield _Idea(
            kind="plan_length",
            text=f"the length in plan ({_both(model.value * level)}), not along the slope",
            share=1.0,
            miss_m=taped - model.value * level,
            u_m=u,
        )
    ends = {EdgeKind.EAVE: 2, EdgeKind.RIDGE: 2, EdgeKind.RAKE: 1}.get(edge.kind, 0)
    if ends:
        overhang = OVERHANG_M if overhang_m is None else overhang_m
        doubt = OVERHANG_U_M if overhang_m is None else TOLD_OVERHANG_U_M
        steep = 1 / level if edge.kind is EdgeKind.RAKE else 1.0
        yield _Idea(
            kind="wall_line",
            text=f"the wall below was taped, not the {edge.kind}: overhang of about {_both(overhang)}",
            share=1.0,
            miss_m=taped - model.value + ends * overhang * steep,
            u_m=math.hypot(u, ends * doubt),
        )


def _goes_on(roof: Roof, edge: Edge, other: Edge) -> bool:
    """Does the other edge begin where this one ends, in its line?"""
    shared = {edge.start, edge.end} & {other.start, other.end}
    if len(shared) != 1:
        return False
    at = shared.pop()
    ways = [_away(roof, one, at) for one in (edge, other)]
    return float(ways[0] @ ways[1]) < -STRAIGHT_COS


def _away(roof: Roof, edge: Edge, at: int) -> Array:
    far = edge.end if edge.start == at else edge.start
    way = roof.vertices[far] - roof.vertices[at]
    return np.asarray(way / np.linalg.norm(way))


def _both(length_m: float) -> str:
    """A length for readers of either kind."""
    return f"{feet_and_inches(length_m)}, {length_m:.2f} m"


def _density(miss_m: float, u_m: float) -> float:
    return math.exp(-0.5 * (miss_m / u_m) ** 2) / (u_m * math.sqrt(2 * math.pi))
