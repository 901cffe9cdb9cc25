"""Point clouds as text: XYZ, CSV, TXT, PTS.  Finds separator, header, columns and units by looking."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from ..errors import InputError
from .damage import check_whole
from .raw import Placement, RawCloud, UnitClaim
from .table import COMMENTS, Table, is_count, is_number

LOOK_AHEAD = 1 << 16  # characters in which the first row of numbers must stand
SHOWN = 60  # characters of a header that a message repeats

# Column names, the most specific to us first.
NAMES = {
    "x": ("x", "easting", "east", "e"),
    "y": ("y", "northing", "north", "n"),
    "z": ("z", "elevation", "elev", "height", "altitude", "alt", "h"),
}
DEGREES = {"lat", "latitude", "lon", "long", "lng", "longitude"}
UNIT_WORDS = {
    "m": ("m", "meter", "meters", "metre", "metres"),
    "ft": ("ft", "foot", "feet"),
    "us-ft": ("us-ft", "usft", "us_ft", "ftus", "sft", "us survey feet", "us survey foot"),
}
WORD_UNITS = {word: unit for unit, words in UNIT_WORDS.items() for word in words}
COLUMN = re.compile(r"(?P<name>[a-z]+)(?:[\s_]*[(\[]\s*|[\s_]+)?(?P<unit>(?<![a-z])[a-z][a-z_ -]*)?\s*[)\]]?")


def read_text(path: Path) -> RawCloud:
    """Read a table of coordinates.

    Parameters
    ----------
    path : Path
        Columns separated by comma, semicolon, tab or space; with or without a header, which names the
        columns x, y, z or easting, northing, elevation and may give a unit, as in "x (ft)".  Without a
        header the first three columns are x, y, z.  Decimal commas are read where the separator is a
        semicolon or a tab.

    Raises
    ------
    InputError
        If no columns are found or a row cannot be read, with its line number.
    """
    table, claims, n_promised = _look(path)
    xyz = table.load()
    check_whole(path.name, n_promised or 0, len(xyz))
    return RawCloud(xyz=xyz, step=np.zeros(3), placement=Placement(claims=claims), name_row=table.line_of)


def _look(path: Path) -> tuple[Table, tuple[UnitClaim, ...], int | None]:
    """Layout of the file, what its column names say about units, and a promised number of points."""
    name = path.name
    with path.open(encoding="utf-8-sig", errors="replace") as stream:
        head = stream.read(LOOK_AHEAD).rstrip("\n").split("\n")
    comment: str | None = None
    header: tuple[int, str] | None = None
    n_promised: int | None = None
    for number, line in enumerate(head, 1):
        text = line.strip()
        if not text:
            continue
        if text.startswith(COMMENTS):
            comment = text.lstrip("#/ ,;\t")
            continue
        delimiter = _delimiter(text)
        fields = _split(text, delimiter)
        if header is None and n_promised is None and len(fields) == 1 and is_count(text):
            n_promised = int(text)
            continue
        decimal_comma = delimiter in (";", "\t")
        if (
            any(is_number(f.replace(",", ".") if decimal_comma else f) for f in fields[:3])
            or header is not None
        ):
            columns, claims = _layout(name, number, fields, header, comment, delimiter)
            _refuse_mixed_marks(name, number, [fields[c] for c in columns if c < len(fields)], decimal_comma)
            table = Table(
                path=path,
                first_line=number,
                columns=columns,
                delimiter=delimiter,
                decimal_comma=decimal_comma,
                counts_between=n_promised is not None,
            )
            return table, claims, n_promised
        header = number, text
    raise InputError(f"{name}: no row of numbers in the first {len(head)} lines, need x, y, z in each line")


def _layout(
    name: str,
    number: int,
    fields: list[str],
    header: tuple[int, str] | None,
    comment: str | None,
    delimiter: str | None,
) -> tuple[tuple[int, int, int], tuple[UnitClaim, ...]]:
    """Columns of x, y, z and the unit they name."""
    if header is not None:
        found = _named_columns(name, _header_fields(header[1], delimiter, len(fields)))
        if found is None:
            need = "need columns x, y, z or easting, northing, elevation"
            raise InputError(f"{name}: line {header[0]}: {header[1][:SHOWN]!r}, {need}")
        return found
    if comment:
        found = _named_columns(name, _header_fields(comment, delimiter, len(fields)))
        if found is not None:
            return found
    if len(fields) < 3:
        raise InputError(f"{name}: line {number}: {len(fields)} columns, need x, y, z")
    return (0, 1, 2), ()


def _named_columns(name: str, fields: list[str]) -> tuple[tuple[int, int, int], tuple[UnitClaim, ...]] | None:
    """Find x, y, z among column names; None if they are not there."""
    parsed = [_column(field) for field in fields]
    words = [word for word, _ in parsed]
    if len(DEGREES & set(words)) >= 2:
        raise InputError(
            f"{name}: columns are latitude and longitude, need a projected grid in m, ft or us-ft"
        )
    columns = []
    for axis, aliases in NAMES.items():
        alias = next((a for a in aliases if a in words), None)
        if alias is None:
            return None
        if words.count(alias) > 1:
            raise InputError(
                f"{name}: {words.count(alias)} columns named {alias}, need one column for {axis}"
            )
        columns.append(words.index(alias))
    x, y, z = columns
    units = [parsed[column][1] for column in columns]
    if units[0] != units[1]:
        raise InputError(f"{name}: units of columns x and y are {units[0]} and {units[1]}, need the same")
    if units[0] is None and units[2] is None:
        return (x, y, z), ()
    return (x, y, z), (UnitClaim(source="column names", horizontal=units[0], vertical=units[2]),)


def _column(field: str) -> tuple[str, str | None]:
    """Name and unit of a column: "X (ft)" is ("x", "ft"); a unit we do not know makes it no coordinate."""
    match = COLUMN.fullmatch(field.strip().lower())
    if match is None:
        return "", None
    unit = match["unit"]
    if unit is None:
        return match["name"], None
    known = WORD_UNITS.get(unit.strip())
    return (match["name"], known) if known else ("", None)


def _header_fields(text: str, delimiter: str | None, n_columns: int) -> list[str]:
    """Split a header by the data's separator, or by any if that gives too few names."""
    fields = _split(text, delimiter)
    return fields if len(fields) >= min(3, n_columns) else re.split(r"[,;\t ]+", text)


def _split(text: str, delimiter: str | None) -> list[str]:
    return [field.strip().strip("\"'") for field in text.split(delimiter)]


def _delimiter(text: str) -> str | None:
    return next((mark for mark in ";\t," if mark in text), None)


def _refuse_mixed_marks(name: str, number: int, fields: list[str], decimal_comma: bool) -> None:
    """Refuse a point in one coordinate and a comma in the next: one marks thousands, who knows which."""
    joined = "".join(fields)
    if decimal_comma and "." in joined and "," in joined:
        raise InputError(f"{name}: line {number}: both . and , in the numbers, need one decimal mark")
