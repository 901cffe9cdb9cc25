"""takeoff.csv: the quantities as a table for a spreadsheet (RFC 4180, UTF-8, one header row)."""

from __future__ import annotations

import csv
import io

from ..measurement import Measurement
from ..roof import Order, Takeoff, TakeoffLine
from .jsonfile import rounded
from .text import plain_text

HEADER = (
    "phase", "item", "unit", "net", "net_low_95", "net_high_95", "waste", "waste_low_95", "waste_high_95",
    "order_quantity", "order_unit", "chance_short", "status", "from", "rule", "source",
)  # fmt: skip
DECIMALS = 3  # of quantities: a tenth of a square foot, a hundredth of an inch; takeoff.json has more
CHANCE_DECIMALS = 4
# A spreadsheet takes a cell that starts so for a formula; the last four are their full-width forms.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def takeoff_csv(takeoff: Takeoff) -> bytes:
    """The lines of a takeoff, in the order of the work.

    Parameters
    ----------
    takeoff : Takeoff

    Returns
    -------
    bytes
        Quantities in the trade units of the `unit` column.  Numbers are plain; a text that a spreadsheet
        would take for a formula has an apostrophe before it.
    """
    table = io.StringIO(newline="")
    writer = csv.writer(table, lineterminator="\r\n")
    writer.writerow(HEADER)
    writer.writerows(_row(line) for line in takeoff.lines)
    return table.getvalue().encode("utf-8")


def _row(line: TakeoffLine) -> list[str]:
    return [
        *(_cell(text) for text in (line.phase, line.item, line.unit)),
        *_numbers(line.net),
        *_numbers(line.waste),
        *_order(line.order),
        *(_cell(text) for text in (line.status, " ".join(line.origin), line.rule, line.source)),
    ]


def _order(order: Order | None) -> tuple[str, str, str]:
    if order is None:
        return ("", "", "")
    return (str(order.quantity), _cell(order.unit), _number(order.chance_short, CHANCE_DECIMALS))


def _numbers(measured: Measurement) -> list[str]:
    return [_number(v) for v in (measured.value, measured.low, measured.high)]


def _number(value: float, decimals: int = DECIMALS) -> str:
    return f"{rounded(value, decimals):.{decimals}f}".rstrip("0").rstrip(".")


def _cell(text: str) -> str:
    """Text as a cell: an apostrophe before what would start a formula."""
    starts = text.startswith(FORMULA_STARTS)
    shown = plain_text(text)
    return "'" + shown if starts or shown.startswith(FORMULA_STARTS) else shown
