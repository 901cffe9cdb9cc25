"""What to order: the lines that matter most, and packages as people say them."""

from __future__ import annotations

from ..roof import Order, Takeoff, TakeoffLine
from .quantity import percent
from .text import shorten

PLURAL_UNITS = frozenset(
    {"bundle", "roll", "piece", "sheet", "box", "bag", "can", "pallet", "tube", "pack", "load"}
)


def main_orders(takeoff: Takeoff, most: int) -> tuple[list[tuple[TakeoffLine, Order]], int]:
    """Orders in scope: what covers planes before what runs along edges before what is counted.

    Parameters
    ----------
    takeoff : Takeoff
    most : int
        How many to choose.

    Returns
    -------
    list of (TakeoffLine, Order)
        In the order of the work.
    int
        How many are left out.
    """
    lines = [
        (i, line, line.order)
        for i, line in enumerate(takeoff.lines)
        if line.order is not None and line.phase == "install" and line.status in ("in_scope", "code_item")
    ]
    weight = {"sq": 0, "lf": 1}
    main = sorted(lines, key=lambda item: (weight.get(item[1].unit, 2), item[0]))[:most]
    chosen = [(line, order) for _, line, order in sorted(main, key=lambda item: item[0])]
    return chosen, len(lines) - len(chosen)


def order_text(order: Order) -> str:
    """Whole packages: `17 pieces`."""
    n, unit = order.quantity, shorten(order.unit, 10)
    plural = ("es" if unit.endswith("x") else "s") if n != 1 and unit in PLURAL_UNITS else ""
    return f"{n:,} {unit}{plural}"


def risk_text(order: Order) -> str:
    """The chance that an order does not suffice."""
    return "< 1 %" if order.chance_short < 0.01 else percent(order.chance_short)
