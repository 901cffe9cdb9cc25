"""What lists of roof quantities get wrong, each as a change of the sums over planes and edges that a line is.

A mistake turns the weights of our quantity into those of what the other list would then hold.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..roof import Edge, Plane, Roof
from ..scene import EdgeKind
from .ours import Ours

Weights = dict[str, float]
Change = Callable[[Ours], Weights]

# How often each is met, before any number is compared: common practice, no more than an order of likelihood.
PRIOR = {
    "none": 0.30,
    "missed_face": 0.14,
    "counted_twice": 0.03,
    "plan_for_slope": 0.14,
    "waste_percentage": 0.12,
    "starter_in_field": 0.16,
    "ridge_with_hip": 0.08,
    "eave_with_rake": 0.04,
    "wrong_pitch": 0.14,
    "missed_edge": 0.06,
    "scale": 0.05,
}
IN_TWO_PLACES = 0.15  # of that: counted in the field though it has a line of its own
ALL_LINES = 0.75  # of a mistake's prior: made in every line that it touches; the rest in one line alone
ROUND_WASTE = (0.05, 0.10, 0.12, 0.15, 0.20)  # shares that people choose
WASTE_GRID = tuple(round(0.01 * k, 2) for k in range(2, 31))
PITCH_GRID = tuple(0.5 * k for k in range(2, 49))  # inches in 12
SAME_PITCH = 0.75  # inches in 12: a pitch this close to that of all planes is no mistake
SCALE_GRID = tuple(sign * 0.01 * k for k in (1, 1.5, 2, 3, 4, 5, 7, 10) for sign in (1, -1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
    """One way to go wrong."""

    kind: str
    text: str
    prior: float
    change: Change
    about: tuple[str, ...] = ()
    nets_only: bool = False  # what the other list then holds has no waste of ours on top


def mistakes(
    roof: Roof, lines: Sequence[Ours], *, listed: Collection[str], exposure_m: float
) -> list[Mistake]:
    """All mistakes that lines could show; `listed` are the names of those with anything in them."""
    found = [Mistake(kind="none", text="nothing is wrong", prior=PRIOR["none"], change=_same)]
    for make in (_faces, _plan, _waste, _edges, _pitch, _scale):
        found += make(roof, lines)
    found += _starter(roof, lines, listed, exposure_m)
    return found


def _same(line: Ours) -> Weights:
    return dict(line.weights)


def _areas(line: Ours) -> bool:
    return any(name.startswith("area:") for name in line.weights)


def _faces(roof: Roof, lines: Sequence[Ours]) -> Iterator[Mistake]:
    if len(roof.planes) < 2:
        return
    for plane in roof.planes:
        own = {f"area:{plane.id}", f"plan_area:{plane.id}"}
        own |= {f"length:{edge.id}" for edge in roof.edges if edge.planes == (plane.id,)}
        for kind, factor, words in (
            ("missed_face", 0.0, "is missing"),
            ("counted_twice", 2.0, "is counted twice"),
        ):
            yield Mistake(
                kind=kind,
                text=f"plane {plane.id} {words}, with its own eaves and rakes",
                prior=PRIOR[kind] / len(roof.planes),
                change=_factored(own, factor),
                about=(plane.id,),
            )


def _factored(names: set[str], factor: float) -> Change:
    return lambda line: {n: w * (factor if n in names else 1.0) for n, w in line.weights.items()}


def _one_or_all(
    kind: str,
    text: str,
    prior: float,
    lines: Sequence[Ours],
    touched: Callable[[Ours], bool],
    change: Change,
    *,
    nets_only: bool = False,
) -> Iterator[Mistake]:
    """The mistake in all lines that it touches, and in each of them alone."""
    chosen = [line.name for line in lines if touched(line)]
    if not chosen:
        return

    def only(names: list[str]) -> Change:
        return lambda line: change(line) if line.name in names else dict(line.weights)

    share = ALL_LINES if len(chosen) > 1 else 1.0
    yield Mistake(kind=kind, text=text, prior=prior * share, change=only(chosen), nets_only=nets_only)
    if len(chosen) > 1:
        for name in chosen:
            yield Mistake(
                kind=kind,
                text=f"{text}, in {name} alone",
                prior=prior * (1 - share) / len(chosen),
                change=only([name]),
                nets_only=nets_only,
            )


def _plan(roof: Roof, lines: Sequence[Ours]) -> Iterator[Mistake]:
    def change(line: Ours) -> Weights:
        return {
            name.replace("area:", "plan_area:", 1) if name.startswith("area:") else name: w
            for name, w in line.weights.items()
        }

    text = "the area in plan was taken for the area on the slope"
    yield from _one_or_all("plan_for_slope", text, PRIOR["plan_for_slope"], lines, _areas, change)


def _waste(roof: Roof, lines: Sequence[Ours]) -> Iterator[Mistake]:
    weight = {share: 3.0 if share in ROUND_WASTE else 1.0 for share in WASTE_GRID}
    for share in WASTE_GRID:

        def change(line: Ours, factor: float = 1 + share) -> Weights:
            return {name: w * factor for name, w in line.weights.items()}

        yield from _one_or_all(
            "waste_percentage",
            f"{share:.0%} of waste is in the area",
            PRIOR["waste_percentage"] * weight[share] / sum(weight.values()),
            lines,
            _areas,
            change,
            nets_only=True,
        )


def _starter(
    roof: Roof, lines: Sequence[Ours], listed: Collection[str], exposure_m: float
) -> Iterator[Mistake]:
    """A course of shingles along eaves, or eaves and rakes, counted in the field.

    Likelier where the list has no line of its own for it.
    """
    for kinds, words, own, share in (
        ((EdgeKind.EAVE, EdgeKind.RAKE), "starter along eaves and rakes", "starter", 0.4),
        ((EdgeKind.EAVE,), "starter along eaves", "starter", 0.4),
        ((EdgeKind.RIDGE, EdgeKind.HIP), "caps along ridges and hips", "caps", 0.2),
    ):
        lengths = [f"length:{edge.id}" for edge in roof.edges if edge.kind in kinds]
        if not lengths:
            continue

        def change(line: Ours, lengths: Sequence[str] = tuple(lengths)) -> Weights:
            per_m2 = max(line.weights.values())
            return {**line.weights, **{name: per_m2 * exposure_m for name in lengths}}

        yield from _one_or_all(
            "starter_in_field",
            f"the course of {words} is counted in the field",
            PRIOR["starter_in_field"] * share * (IN_TWO_PLACES if any(own in x for x in listed) else 1.0),
            lines,
            lambda line: _areas(line) and line.waste is not None,
            change,
            nets_only=True,
        )


def _edges(roof: Roof, lines: Sequence[Ours]) -> Iterator[Mistake]:
    kind_of = {f"length:{edge.id}": edge.kind for edge in roof.edges}
    for edge in roof.edges:
        if any(f"length:{edge.id}" in line.weights for line in lines):
            yield Mistake(
                kind="missed_edge",
                text=f"edge {edge.id} ({edge.kind.replace('_', ' ')}) is missing",
                prior=PRIOR["missed_edge"] / len(roof.edges),
                change=_factored({f"length:{edge.id}"}, 0.0),
                about=(edge.id,),
            )
    for kind, first, second in (
        ("ridge_with_hip", EdgeKind.RIDGE, EdgeKind.HIP),
        ("eave_with_rake", EdgeKind.EAVE, EdgeKind.RAKE),
    ):
        both = {n for n, k in kind_of.items() if k in (first, second)}
        if {kind_of[n] for n in both} != {first, second}:
            continue
        for host in (first, second):
            guest = second if host is first else first
            for emptied in (False, True):

                def change(
                    line: Ours, host: EdgeKind = host, emptied: bool = emptied, both: set[str] = both
                ) -> Weights:
                    kinds = {kind_of[n] for n in line.weights if n in kind_of}
                    if kinds == {host}:
                        each = max(line.weights.values())
                        return dict.fromkeys(both, each)
                    if emptied and kinds and kinds < {kind_of[n] for n in both}:
                        return {}
                    return dict(line.weights)

                moved = ", which then has none" if emptied else ""
                if any({kind_of.get(n) for n in line.weights} == {host} for line in lines):
                    yield Mistake(
                        kind=kind,
                        text=f"{guest}s are counted with the {host}s{moved}",
                        prior=PRIOR[kind] / 4,
                        change=change,
                    )


def _pitch(roof: Roof, lines: Sequence[Ours]) -> Iterator[Mistake]:
    rises = [plane.rise_in_12.value for plane in roof.planes]
    grid = [p for p in PITCH_GRID if max(abs(p - rise) for rise in rises) > SAME_PITCH]
    sloped = {f"length:{edge.id}": edge for edge in roof.edges}
    for p in grid:

        def change(line: Ours, p: float = p) -> Weights:
            changed: Weights = {}
            for name, w in line.weights.items():
                if name.startswith("area:"):
                    changed[name.replace("area:", "plan_area:", 1)] = w * math.hypot(1, p / 12)
                elif name in sloped:
                    changed[name] = w * _tilted(roof, sloped[name], p)
                else:
                    changed[name] = w
            return changed

        yield Mistake(
            kind="wrong_pitch",
            text=f"one pitch of {p:g} in 12 is taken for all planes",
            change=change,
            prior=PRIOR["wrong_pitch"] / len(grid),
        )


def _tilted(roof: Roof, edge: Edge, rise_in_12: float) -> float:
    """How an edge's length changes when its planes get another pitch and the plan stays."""
    along = roof.vertices[edge.end] - roof.vertices[edge.start]
    plan = float(np.hypot(*along[:2]))
    steep = [_rise(plane) for plane in roof.planes if plane.id in edge.planes]
    if plan == 0 or not steep or min(steep) <= 0:
        return 1.0
    factor = rise_in_12 / (sum(steep) / len(steep))
    return math.hypot(plan, float(along[2]) * factor) / float(np.linalg.norm(along))


def _rise(plane: Plane) -> float:
    return plane.rise_in_12.value


def _scale(roof: Roof, lines: Sequence[Ours]) -> Iterator[Mistake]:
    for share in SCALE_GRID:

        def change(line: Ours, factor: float = 1 + share) -> Weights:
            return {
                n: w * (factor if n.startswith("length:") else factor**2) for n, w in line.weights.items()
            }

        yield Mistake(
            kind="scale",
            change=change,
            text=f"all lengths differ by {share:+.1%}: another scale, or eaves taken further out or in",
            prior=PRIOR["scale"] / len(SCALE_GRID),
        )


def combined(
    weights: Mapping[str, float], rows: Mapping[str, int], size: int
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Weights as a row over the joint quantities."""
    row = np.zeros(size)
    for name, weight in weights.items():
        row[rows[name]] += weight
    return row
