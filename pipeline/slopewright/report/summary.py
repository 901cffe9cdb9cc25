"""The answer on one screen: how much, how sure, what was not seen, what to order, what to mind."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from ..roof import Roof, Takeoff, TakeoffLine
from ..scene import EdgeKind, Notice
from .doubt import largest_doubt
from .orders import main_orders, order_text, risk_text
from .quantity import (
    FEET,
    INFERRED,
    METRES,
    METRIC_OF_TRADE,
    SQUARE_FEET,
    SQUARE_METRES,
    SQUARES,
    Unit,
    angle_text,
    bounds,
    percent,
    with_bound,
)
from .text import plain_text, shorten

INDENT = 10  # columns of the headings
MOST_ORDERS = 9
MOST_WARNINGS = 4
MOST_WARNING_LINES = 2
MOST_NAMES = 8
SHOWN_ELSEWHERE = frozenset({"plane_inferred", "edge_inferred"})  # the section on what was not seen says it
ROUTINE = frozenset({"no_coverage_decision", "order_rule"})  # true of every run: after what is new
WALLS = (EdgeKind.SIDEWALL, EdgeKind.HEADWALL, EdgeKind.PARAPET)


def summary_text(
    roof: Roof,
    takeoff: Takeoff,
    *,
    metric: bool = False,
    width: int = 80,
    notices: Sequence[Notice] | None = None,
) -> str:
    """The summary a person reads at the end of a run.

    Parameters
    ----------
    roof : Roof
    takeoff : Takeoff
    metric : bool
        Metres and degrees instead of squares, feet and inches in 12.
    width : int
        Columns of the screen.
    notices : sequence of Notice, optional
        Warnings to show; by default the roof's and the takeoff's.

    Returns
    -------
    str
        At most 40 lines, of at most `width` characters, without control characters.
    """
    given = (*roof.notices, *takeoff.notices) if notices is None else tuple(notices)
    sections = (
        ("How much", _how_much(roof, metric=metric)),
        ("How sure", _how_sure(roof)),
        ("Not seen", _not_seen(roof, given, metric=metric)),
        ("Order", _orders(takeoff, metric=metric)),
        ("Decide", _to_decide(takeoff)),
        ("Mind", _warnings(given, width - INDENT)),
    )
    lines = []
    for heading, paragraphs in sections:
        first = True
        for paragraph in paragraphs:
            for line in textwrap.wrap(paragraph, width - INDENT, break_long_words=True) or [""]:
                lines.append(f"{heading if first else '':<{INDENT}}{line.replace(_HARD, ' ')}".rstrip())
                first = False
    return "\n".join(lines)


_HARD = "\u00a0"  # a space that a line is not broken at, and that is not collapsed


def _hard(text: str) -> str:
    return text.replace(" ", _HARD)


def _how_much(roof: Roof, *, metric: bool) -> Iterator[str]:
    area, plan, length = (SQUARE_METRES, SQUARE_METRES, METRES) if metric else (SQUARES, SQUARE_FEET, FEET)
    total = _hard(with_bound(roof.area, area))
    yield f"{total} of roof, 95 % sure between {_hard(bounds(roof.area, area))}"
    n = len(roof.planes)
    planes = f"{n} plane{'s' if n > 1 else ''}: {_pitches(roof, metric=metric)}"
    yield f"{_hard(with_bound(roof.plan_area, plan))} in plan; {planes}"
    yield _table([_length(roof, name, kinds, length) for name, kinds in _kinds(roof)])


def _pitches(roof: Roof, *, metric: bool) -> str:
    """The largest classes of pitch first."""
    ordered = sorted(roof.by_pitch, key=lambda item: -item[1].value)
    shown = []
    for rise, part in ordered[:4]:
        degrees = [p.pitch_deg.value for p in roof.planes if round(p.rise_in_12.value) == rise]
        mean = sum(degrees) / len(degrees) if degrees else 0.0
        pitch = f"near {angle_text(mean)}" if metric else f"near {rise} in 12"
        shown.append(_hard(f"{percent(part.value / roof.area.value)} {pitch}"))
    rest = len(ordered) - len(shown)
    return ", ".join(shown) + (f", {rest} more" if rest > 0 else "")


def _kinds(roof: Roof) -> Iterator[tuple[str, tuple[EdgeKind, ...]]]:
    for kind in EdgeKind:
        if kind in roof.edge_totals and kind not in WALLS:
            yield str(kind).replace("_", " "), (kind,)
    walls = tuple(kind for kind in WALLS if kind in roof.edge_totals)
    if walls:
        yield "wall", walls


def _length(roof: Roof, name: str, kinds: tuple[EdgeKind, ...], unit: Unit) -> str:
    names = {f"length:{edge.id}": 1.0 for edge in roof.edges if edge.kind in kinds}
    total = roof.edge_totals[kinds[0]] if len(kinds) == 1 else roof.joint.combine(names, floor=0.0)
    return f"{name} {with_bound(total, unit)}"


def _table(cells: list[str]) -> str:
    """Cells of one width, so that they stand in columns once the line is wrapped."""
    wide = max((len(cell) for cell in cells), default=0)
    return " ".join(_hard(f"{cell:<{wide + 2}}") for cell in cells)


def _how_sure(roof: Roof) -> Iterator[str]:
    share = roof.area.half_width / roof.area.value
    text = f"area ± {percent(share, 2)} (95 %)."
    found = largest_doubt(roof)
    if found is None:
        yield text
        return
    largest, action = found
    name = shorten(largest.source, 60)
    yield f"{text} {percent(largest.area_share)} of that doubt comes from: {name}."
    yield f"To shrink it: {action}" if action else "The budget in roof.json lists all sources."


def _not_seen(roof: Roof, notices: tuple[Notice, ...], *, metric: bool) -> Iterator[str]:
    unit = METRES if metric else FEET
    area = sum((1 - p.observed) * p.area.value for p in roof.planes) / roof.area.value
    lengths = sum(e.length.value for e in roof.edges)
    edges = sum((1 - e.observed) * e.length.value for e in roof.edges) / lengths if lengths else 0.0
    shares = f"{percent(area)} of the area and {percent(edges)} of the edges' length"
    yield f"{shares}; inferred from what lies beside."
    planes = [plane for plane in roof.planes if plane.observed < INFERRED]
    dark = [edge for edge in roof.edges if edge.observed < INFERRED]
    if planes:
        yield "Mostly inferred planes: " + _names([f"{p.id} ({percent(p.observed)} seen)" for p in planes])
    if dark:
        total = sum(edge.length.value for edge in dark) / unit.si
        listed = _names([f"{e.id} {str(e.kind).replace('_', ' ')}" for e in dark])
        yield f"Mostly inferred edges, {total:,.0f} {unit.name} in all: {listed}"
    if not planes and not dark:
        yield "Every plane and every edge was seen for half of it or more."


def _names(names: list[str], file: str = "roof.json") -> str:
    rest = len(names) - MOST_NAMES
    shown = ", ".join(_hard(shorten(name, 30)) for name in names[:MOST_NAMES])
    return shown + (f" and {rest} more in {file}" if rest > 0 else "")


def _orders(takeoff: Takeoff, *, metric: bool) -> Iterator[str]:
    main, rest = main_orders(takeoff, MOST_ORDERS)
    if not main:
        yield "nothing to order in scope"
        return
    yield "packages, for net + waste, with the chance of running short"
    names = [shorten(line.item, 22) + (" (code)" if line.status == "code_item" else "") for line, _ in main]
    orders = [order_text(order) for _, order in main]
    needs = [_need(line, metric=metric) for line, _ in main]
    wide, wide_order, wide_need = (max(map(len, column)) for column in (names, orders, needs))
    for name, packages, need, (_, order) in zip(names, orders, needs, main, strict=True):
        cells = f"{name:<{wide}}  {packages:>{wide_order}}  {need:<{wide_need}}  {risk_text(order)}"
        yield _hard(cells)
    if rest:
        yield f"and {rest} more line{'s' if rest > 1 else ''} with packages in takeoff.csv"


def _need(line: TakeoffLine, *, metric: bool) -> str:
    trade = Unit(name=line.unit, si=1.0, decimals=1)
    unit = METRIC_OF_TRADE.get(line.unit, trade) if metric else trade
    waste = f" + {line.waste.value / unit.si:,.1f}" if line.waste.value > 0 else ""
    return f"{line.net.value / unit.si:,.1f}{waste} {unit.name}"


def _to_decide(takeoff: Takeoff) -> Iterator[str]:
    check = [line.item for line in takeoff.lines if line.status == "check"]
    if check:
        yield _names(check, "takeoff.csv")


def _warnings(notices: tuple[Notice, ...], width: int) -> Iterator[str]:
    rest = [n for n in dict.fromkeys(notices) if n.code not in SHOWN_ELSEWHERE]
    rest.sort(key=lambda notice: notice.code in ROUTINE)
    for notice in rest[:MOST_WARNINGS]:
        about = f" [{_names(list(notice.about))}]" if notice.about else ""
        text = f"- {plain_text(notice.text)}{about}"
        yield textwrap.shorten(text, MOST_WARNING_LINES * (width - 4), placeholder=" …")
    if len(rest) > MOST_WARNINGS:
        yield f"and {len(rest) - MOST_WARNINGS} more in run.json"
