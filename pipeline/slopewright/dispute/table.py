"""A table that somebody typed: comma, semicolon or tab between fields, a heading, one record a line."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

from ..errors import InputError

DELIMITERS = ",;\t"
MOST_BYTES = 5_000_000  # no list of a house is longer; a scan given by mistake is
MOST_ROWS = 10_000
MOST_SHOWN = 60  # characters of what was found, in a message


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One record."""

    where: str  # "tape.csv line 4"
    fields: dict[str, str]  # by heading; "" where empty

    def get(self, name: str) -> str:
        """A field, "" where the table has none of that heading."""
        return self.fields.get(name, "")


def read_table(content: bytes, *, file: str, known: tuple[str, ...], needed: tuple[str, ...]) -> list[Row]:
    """The records of a table.

    Parameters
    ----------
    content : bytes
        UTF-8, with or without a byte order mark.
    file : str
        For messages.
    known, needed : tuple of str
        Headings that it may have, and those that it must have.

    Raises
    ------
    InputError
        With the line's number: not UTF-8, no heading, an unknown or doubled one, a field too many or too few,
        a quote that is not closed; or there is no record.
    """
    text = _text(content, file)
    first = text.split("\n", 1)[0]
    delimiter = max(DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[Row] = []
    heading: list[str] = []
    for number, cells in _records(reader, file):
        if not any(cells):
            continue
        if not heading:
            heading = _heading(cells, number, file, known, needed)
            continue
        if any(cells[len(heading) :]) or len(cells) < len(heading) - 1:
            raise InputError(
                f"{file} line {number}: {len(cells)} fields under {len(heading)} headings; a comma inside a"
                " field needs quotes round it, or semicolons between all fields"
            )
        cells = [*cells, *[""] * (len(heading) - len(cells))]
        rows.append(Row(where=f"{file} line {number}", fields=dict(zip(heading, cells, strict=False))))
        if len(rows) > MOST_ROWS:
            raise InputError(
                f"{file} line {number}: more than {MOST_ROWS} records, need the list of one roof"
            )
    if not rows:
        raise InputError(f"{file}: no record, need a heading ({', '.join(known)}) and a line for each")
    return rows


def _text(content: bytes, file: str) -> str:
    if len(content) > MOST_BYTES:
        raise InputError(f"{file}: {len(content):,} bytes, need a table of at most {MOST_BYTES:,}")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        number = content[: error.start].count(b"\n") + 1
        raise InputError(f"{file} line {number}: not UTF-8 text, save the table as CSV in UTF-8") from error
    if "\0" in text:
        raise InputError(f"{file}: holds zero bytes, need a text table (CSV in UTF-8)")
    return text.replace("\r\n", "\n").replace("\r", "\n").strip("\n")


def _records(reader: Iterator[list[str]], file: str) -> Iterator[tuple[int, list[str]]]:
    while True:
        number = getattr(reader, "line_num", 0) + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise InputError(
                f"{file} line {number}: {error}; a quote in a quoted field is doubled"
            ) from error
        yield number, [cell.strip() for cell in cells]


def _heading(
    cells: list[str], number: int, file: str, known: tuple[str, ...], needed: tuple[str, ...]
) -> list[str]:
    heading = [" ".join(cell.casefold().split()) for cell in cells]
    while heading and not heading[-1]:
        heading.pop()
    for name in heading:
        shown = name if len(name) <= MOST_SHOWN else name[:MOST_SHOWN] + "…"
        if name not in known:
            raise InputError(
                f"{file} line {number}: heading {shown!r} is unknown, need some of {', '.join(known)}"
            )
        if heading.count(name) > 1:
            raise InputError(f"{file} line {number}: heading {shown!r} stands twice, need it once")
    for name in needed:
        if name not in heading:
            raise InputError(f"{file} line {number}: heading {name!r} is missing, need {', '.join(needed)}")
    return heading
