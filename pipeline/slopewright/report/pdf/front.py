"""The first page: how much, how sure, what was not seen, what to decide."""

from __future__ import annotations

from typing import Any

from ...roof import Roof, Takeoff
from ...scene import EdgeKind, Notice
from ..doubt import largest_doubt
from ..orders import main_orders, order_text, risk_text
from ..plan.strokes import STROKES
from ..printable import printable
from ..quantity import (
    FEET,
    INFERRED,
    METRES,
    SQUARE_FEET,
    SQUARE_METRES,
    SQUARES,
    angle_text,
    bounds,
    percent,
    with_bound,
)
from ..text import shorten

MOST_PITCHES = 4
MOST_NAMES = 12
MOST_ORDERS = 8
MOST_TOLD = 4  # warnings; all of them stand on a later page
HARD = "\u00a0"  # a space that a line is not broken at
NAME = 40  # characters of a name on this page
ROUTINE = frozenset({"no_coverage_decision", "order_rule"})  # true of every run
SHOWN_ELSEWHERE = frozenset({"plane_inferred", "edge_inferred"})


def front(roof: Roof, takeoff: Takeoff, notices: tuple[Notice, ...], *, metric: bool) -> dict[str, Any]:
    """What the first page says, as text."""
    area, plan, length = (SQUARE_METRES, SQUARE_METRES, METRES) if metric else (SQUARES, SQUARE_FEET, FEET)
    other = SQUARES if metric else SQUARE_METRES
    n = len(roof.planes)
    return {
        "total": with_bound(roof.area, area),
        "other": with_bound(roof.area, other),
        "between": bounds(roof.area, area) + f" {area.name}",
        "plan_area": with_bound(roof.plan_area, plan),
        "planes": f"{n} plane{'s' if n != 1 else ''}",
        "pitches": _pitches(roof, metric=metric),
        "kinds": [
            {
                "letter": STROKES[kind].letter,
                "name": str(kind).replace("_", " "),
                "length": with_bound(roof.edge_totals[kind], length),
            }
            for kind in EdgeKind
            if kind in roof.edge_totals
        ],
        "sure": _sure(roof),
        "unseen": _unseen(roof, metric=metric),
        "orders": _orders(takeoff),
        "decide": [printable(line.item, NAME) for line in takeoff.lines if line.status == "check"],
        "told": _told(notices),
    }


def _pitches(roof: Roof, *, metric: bool) -> list[str]:
    """The largest classes of pitch first."""
    ordered = sorted(roof.by_pitch, key=lambda item: -item[1].value)
    shown = []
    for rise, part in ordered[:MOST_PITCHES]:
        degrees = [p.pitch_deg.value for p in roof.planes if round(p.rise_in_12.value) == rise]
        mean = sum(degrees) / len(degrees) if degrees else 0.0
        pitch = f"near {angle_text(mean)}" if metric else f"near {rise} in 12"
        shown.append(f"{percent(part.value / roof.area.value)} {pitch}".replace(" ", HARD))
    rest = len(ordered) - len(shown)
    return shown + ([f"{rest} more"] if rest > 0 else [])


def _sure(roof: Roof) -> dict[str, Any]:
    found = largest_doubt(roof)
    return {
        "share": f"± {percent(roof.area.half_width / roof.area.value, 2)}",
        "largest": "" if found is None else printable(found[0].source, 60),
        "largest_share": "" if found is None else percent(found[0].area_share),
        "action": "" if found is None else found[1],
    }


def _unseen(roof: Roof, *, metric: bool) -> dict[str, Any]:
    unit = METRES if metric else FEET
    area = sum((1 - p.observed) * p.area.value for p in roof.planes) / roof.area.value
    lengths = sum(e.length.value for e in roof.edges)
    edges = sum((1 - e.observed) * e.length.value for e in roof.edges) / lengths if lengths else 0.0
    dark = [edge for edge in roof.edges if edge.observed < INFERRED]
    return {
        "shares": f"{percent(area)} of the area and {percent(edges)} of the edges' length",
        "planes": _names(
            [
                f"{shorten(p.id, 12)} ({percent(p.observed)} seen)"
                for p in roof.planes
                if p.observed < INFERRED
            ]
        ),
        "edges": _names([f"{shorten(e.id, 12)} {str(e.kind).replace('_', ' ')}" for e in dark]),
        "edges_length": f"{sum(edge.length.value for edge in dark) / unit.si:,.0f} {unit.name}",
    }


def _orders(takeoff: Takeoff) -> dict[str, Any]:
    main, rest = main_orders(takeoff, MOST_ORDERS)
    rows = [
        {
            "item": printable(line.item, NAME),
            "packages": printable(order_text(order)),
            "short": risk_text(order),
        }
        for line, order in main
    ]
    return {"rows": rows, "rest": f"and {rest} more under “Quantities”" if rest else ""}


def _names(names: list[str]) -> str:
    rest = len(names) - MOST_NAMES
    shown = printable(", ".join(names[:MOST_NAMES]))
    return shown + (f" and {rest} more" if rest > 0 else "")


def _told(notices: tuple[Notice, ...]) -> list[str]:
    """The first few warnings that are not true of every run."""
    kept = [n for n in notices if n.code not in ROUTINE | SHOWN_ELSEWHERE]
    told = [printable(n.text, 170) for n in kept[:MOST_TOLD]]
    rest = len(kept) - len(told)
    return told + ([f"{rest} more under “To mind”"] if rest > 0 else [])
