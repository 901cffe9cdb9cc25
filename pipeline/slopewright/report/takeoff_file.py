"""takeoff.json: the quantities as other programs read them, and back (schemas/takeoff.schema.json)."""

from __future__ import annotations

import math
from typing import Any

from ..roof import AreaClass, Order, Takeoff, TakeoffLine
from .jsonfile import Field, measurement_json, rounded

FORMAT = "slopewright-takeoff"
VERSION = 1
PHASES = frozenset({"tear_off", "repair", "install", "clean_up"})
UNITS = frozenset({"sq", "lf", "ea", "sheet", "roll", "bundle", "piece", "lb", "yd3"})
STATUSES = frozenset({"in_scope", "retained", "by_others", "excluded", "code_item", "check"})


def takeoff_json(takeoff: Takeoff) -> dict[str, Any]:
    """The content of takeoff.json.

    Returns
    -------
    dict
        As DESIGN's contract and `schemas/takeoff.schema.json` have it; numbers rounded to 1e-6.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    return {
        "format": FORMAT,
        "version": VERSION,
        "system": takeoff.system,
        "lines": [_line_json(line) for line in takeoff.lines],
        "classes": [
            {
                "rise_in_12_from": rounded(c.rise_in_12_from),
                "to": rounded(c.rise_in_12_to) if math.isfinite(c.rise_in_12_to) else None,
                "storeys": c.storeys,
                "area": measurement_json(c.area),
            }
            for c in takeoff.classes
        ],
    }


def _line_json(line: TakeoffLine) -> dict[str, Any]:
    order = line.order
    return {
        "item": line.item,
        "phase": line.phase,
        "unit": line.unit,
        "net": measurement_json(line.net),
        "waste": measurement_json(line.waste),
        "order": None
        if order is None
        else {"quantity": order.quantity, "unit": order.unit, "chance_short": rounded(order.chance_short)},
        "status": line.status,
        "from": list(line.origin),
        "rule": line.rule,
        "source": line.source,
    }


def takeoff_from_json(content: Any, *, file: str) -> Takeoff:
    """The takeoff of a takeoff.json, ours or another program's.

    Parameters
    ----------
    content : dict
        As read from the file.
    file : str
        Its name, for messages.

    Raises
    ------
    InputError
        If a field is missing or of a wrong kind.
    """
    root = Field(file, content)
    root.header(FORMAT, VERSION)
    return Takeoff(
        system=root["system"].text(),
        lines=tuple(_line(field) for field in root["lines"]),
        classes=tuple(
            AreaClass(
                rise_in_12_from=field["rise_in_12_from"].number(0.0),
                rise_in_12_to=math.inf if field["to"].value is None else field["to"].number(0.0),
                storeys=None if field["storeys"].value is None else field["storeys"].integer(1),
                area=field["area"].measurement(),
            )
            for field in root["classes"]
        ),
    )


def _line(field: Field) -> TakeoffLine:
    order = field["order"]
    return TakeoffLine(
        item=field["item"].text(),
        phase=field["phase"].one_of(PHASES),
        unit=field["unit"].one_of(UNITS),
        net=field["net"].measurement(),
        waste=field["waste"].measurement(),
        order=None
        if order.value is None
        else Order(
            quantity=order["quantity"].integer(),
            unit=order["unit"].text(),
            chance_short=order["chance_short"].number(0.0, 1.0),
        ),
        status=field["status"].one_of(STATUSES),
        origin=field["from"].texts(),
        rule=field["rule"].text(),
        source=field["source"].text(),
    )
