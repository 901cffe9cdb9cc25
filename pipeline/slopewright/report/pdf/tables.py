"""The tables of the later pages, as text: planes, edges, quantities, doubt, classes, warnings."""

from __future__ import annotations

import math
import re
from typing import Any

from ...measurement import Measurement
from ...roof import AreaClass, Roof, Takeoff, TakeoffLine
from ...scene import EdgeKind, Notice
from ..colour import css_colour
from ..orders import order_text, risk_text
from ..plan.strokes import STROKES
from ..printable import printable
from ..quantity import (
    FEET,
    INFERRED,
    METRES,
    METRIC_OF_TRADE,
    SQUARE_FEET,
    SQUARE_METRES,
    Unit,
    angle_text,
    bound_decimals,
    percent,
    rise_text,
    rounded_bound,
    with_bound,
)

PHASES = {"tear_off": "Tear-off", "repair": "Repair", "install": "Install", "clean_up": "Clean-up"}
STATUS = {
    "in_scope": "in scope",
    "retained": "retained",
    "by_others": "by others",
    "excluded": "excluded",
    "code_item": "code item",
    "check": "to decide",
}
POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
DECIMALS = {"lf": 1, "sq": 2, "ea": 0, "lb": 0, "yd3": 1}  # of quantities, at most
NAME = 60  # characters of an id in a table


def planes(roof: Roof, *, metric: bool) -> list[dict[str, str | bool]]:
    """A row a plane."""
    area, height = (SQUARE_METRES, METRES) if metric else (SQUARE_FEET, FEET)
    rows: list[dict[str, str | bool]] = []
    for plane in roof.planes:
        faces = POINTS[round(plane.azimuth_deg.value / 45) % 8]
        rows.append(
            {
                "id": printable(plane.id, NAME),
                "colour": css_colour(plane.pitch_deg.value),
                "pitch": rise_text(plane.rise_in_12.value),
                "degrees": _degrees(plane.pitch_deg),
                "faces": f"{faces}, {plane.azimuth_deg.value:.0f}°",
                "area": with_bound(plane.area, area),
                "plan": with_bound(plane.plan_area, area),
                "eave": "not known" if plane.eave_height is None else with_bound(plane.eave_height, height),
                "seen": percent(plane.observed),
                "inferred": plane.observed < INFERRED,
            }
        )
    return rows


def _degrees(pitch: Measurement) -> str:
    decimals = bound_decimals(pitch.half_width, 1)
    return f"{angle_text(pitch.value)} ± {rounded_bound(pitch.half_width, decimals):.{decimals}f}°"


def edges(roof: Roof, *, metric: bool) -> list[dict[str, Any]]:
    """A group a kind, a row an edge."""
    unit = METRES if metric else FEET
    return [
        {
            "kind": str(kind).replace("_", " "),
            "letter": STROKES[kind].letter,
            "total": with_bound(roof.edge_totals[kind], unit),
            "rows": [
                {
                    "id": printable(edge.id, NAME),
                    "length": with_bound(edge.length, unit),
                    "planes": printable(" ".join(edge.planes), NAME),
                    "seen": percent(edge.observed),
                    "inferred": edge.observed < INFERRED,
                }
                for edge in roof.edges
                if edge.kind == kind
            ],
        }
        for kind in EdgeKind
        if kind in roof.edge_totals
    ]


def other_units(roof: Roof, *, metric: bool) -> dict[str, Any]:
    """Areas and lengths again, metric where the report has trade units and the other way round."""
    area = SQUARE_FEET if metric else SQUARE_METRES
    return {
        "name": "feet" if metric else "metres",
        "total": with_bound(roof.area, area),
        "planes": [f"{printable(p.id, NAME)}: {with_bound(p.area, area)}" for p in roof.planes],
        "edges": [
            {
                "kind": f"{group['letter']}, {group['kind']}: {group['total']} in all",
                "rows": [f"{row['id']}: {row['length']}" for row in group["rows"]],
            }
            for group in edges(roof, metric=not metric)
        ],
    }


def quantities(takeoff: Takeoff, *, metric: bool) -> list[dict[str, Any]]:
    """A group a phase, a row a line, in the order of the work."""
    groups: list[dict[str, Any]] = []
    for line in takeoff.lines:
        name = PHASES[line.phase]
        if not groups or groups[-1]["phase"] != name:
            groups.append({"phase": name, "rows": []})
        groups[-1]["rows"].append(_line(line, metric=metric))
    return groups


def _line(line: TakeoffLine, *, metric: bool) -> dict[str, str]:
    trade = Unit(name=line.unit, si=1.0, decimals=DECIMALS.get(line.unit, 1))
    unit = METRIC_OF_TRADE.get(line.unit, trade) if metric else trade
    order = line.order
    return {
        "item": printable(line.item, 300),
        "net": _quantity(line.net, unit),
        "waste": _quantity(line.waste, unit) if line.waste.high > 0 else "",
        "order": "" if order is None else printable(order_text(order)),
        "short": "" if order is None else risk_text(order),
        "status": STATUS[line.status],
        "rule": printable(line.rule, 1200),
        "source": printable(line.source, 600),
        "from": printable(ranges(line.origin), 400),
    }


def _quantity(measured: Measurement, unit: Unit) -> str:
    """With its bound, or alone where it is exact, like a count."""
    if measured.high - measured.low < 1e-9:
        value = measured.value / unit.si
        decimals = 0 if value.is_integer() else unit.decimals
        return f"{value:,.{decimals}f} {unit.name}"
    return with_bound(measured, unit)


def ranges(names: tuple[str, ...]) -> str:
    """Names in a row with runs of numbers drawn together: e1–e4, e7."""
    runs: list[list[str]] = []
    for name in names:
        if runs and _follows(runs[-1][-1], name):
            runs[-1].append(name)
        else:
            runs.append([name])
    return ", ".join(f"{r[0]}–{r[-1]}" if len(r) > 2 else ", ".join(r) for r in runs)


def _follows(before: str, after: str) -> bool:
    first, second = re.fullmatch(r"([a-z]+)(\d+)", before), re.fullmatch(r"([a-z]+)(\d+)", after)
    return bool(first and second and first[1] == second[1] and int(second[2]) == int(first[2]) + 1)


def budget(roof: Roof) -> list[dict[str, Any]]:
    """Sources of doubt, the largest first, with their shares of the area's variance."""
    ordered = sorted(roof.budget, key=lambda b: -b.area_share)
    return [
        {"source": printable(b.source, 200), "share": b.area_share, "shown": percent(b.area_share)}
        for b in ordered
    ]


def classes(takeoff: Takeoff, *, metric: bool) -> list[dict[str, str]]:
    """A row a class of pitch and height."""
    unit = SQUARE_METRES if metric else SQUARE_FEET
    return [
        {
            "pitch": _from_to(c),
            "storeys": "not said" if c.storeys is None else f"{c.storeys}",
            "area": with_bound(c.area, unit),
        }
        for c in takeoff.classes
    ]


def _from_to(c: AreaClass) -> str:
    if math.isinf(c.rise_in_12_to):
        return f"over {c.rise_in_12_from:g} in 12"
    return f"{c.rise_in_12_from:g} to {c.rise_in_12_to:g} in 12"


def inferred(roof: Roof, *, metric: bool) -> list[dict[str, str]]:
    """Planes and edges of which less than half was seen."""
    area, length = (SQUARE_METRES, METRES) if metric else (SQUARE_FEET, FEET)
    rows = [
        {
            "what": printable(f"plane {p.id}", NAME),
            "size": with_bound(p.area, area),
            "seen": percent(p.observed),
        }
        for p in roof.planes
        if p.observed < INFERRED
    ]
    return rows + [
        {
            "what": printable(f"{str(e.kind).replace('_', ' ')} {e.id}", NAME),
            "size": with_bound(e.length, length),
            "seen": percent(e.observed),
        }
        for e in roof.edges
        if e.observed < INFERRED
    ]


def warnings(notices: tuple[Notice, ...]) -> list[dict[str, str]]:
    """Every warning, with what it is about unless it says so itself."""
    return [
        {
            "text": printable(n.text, 1000),
            "about": "" if ", ".join(n.about) in n.text else printable(ranges(n.about), 300),
        }
        for n in dict.fromkeys(notices)
    ]
