"""takeoff.csv read back by the csv module."""

import csv
import io

import pytest

from report.hand_takeoff import takeoff
from report.test_roof_file import HOSTILE
from slopewright import report


def rows(content):
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline=""), strict=True))


def test_the_table_says_what_the_takeoff_says():
    mine = takeoff()
    table = rows(report.takeoff_csv(mine))
    assert len(table) == len(mine.lines)
    for row, line in zip(table, mine.lines, strict=True):
        assert (row["phase"], row["item"], row["unit"], row["status"]) == (
            line.phase, line.item, line.unit, line.status,
        )  # fmt: skip
        for name, measured in (("net", line.net), ("waste", line.waste)):
            assert float(row[name]) == pytest.approx(measured.value, abs=0.0005)
            assert float(row[f"{name}_low_95"]) == pytest.approx(measured.low, abs=0.0005)
            assert float(row[f"{name}_high_95"]) == pytest.approx(measured.high, abs=0.0005)
        if line.order is None:
            assert row["order_quantity"] == row["order_unit"] == row["chance_short"] == ""
        else:
            assert int(row["order_quantity"]) == line.order.quantity
            assert row["order_unit"] == line.order.unit
            assert float(row["chance_short"]) == line.order.chance_short
        assert row["from"].split() == list(line.origin)


def test_lines_end_as_rfc_4180_says():
    """Oracle: RFC 4180, 2.1: records end with CRLF; 2.4: the same number of fields in each."""
    data = report.takeoff_csv(takeoff())
    assert data.endswith(b"\r\n") and data.count(b"\n") == data.count(b"\r\n") == len(takeoff().lines) + 1
    assert {len(row) for row in csv.reader(io.StringIO(data.decode(), newline=""))} == {16}


@pytest.mark.parametrize(
    "text", [*HOSTILE, "+1", "-1", "@sum", "\t=1", "\r=1", "\n=1", " =1", "＝1+1", 'a"b,c\r\nd', "plain"]
)
def test_no_cell_starts_a_formula(text):
    """Oracle: the characters that start a formula or a command in spreadsheets (OWASP, CSV injection)."""
    for row in rows(report.takeoff_csv(takeoff(text=text))):
        for name, cell in row.items():
            assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝")), (name, cell)
    first = rows(report.takeoff_csv(takeoff(text=text)))[0]
    if text.isascii() and text.isprintable() and not text.startswith(("=", "+", "-", "@", " ")):
        assert first["item"] == text
    if text.startswith("="):
        assert first["item"] == "'" + text
