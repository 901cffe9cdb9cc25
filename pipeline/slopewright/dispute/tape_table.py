"""Tape measurements from a table: what each is of, how long, how sure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from ..checks import Point, TapeReading
from ..errors import InputError
from ..roof import Roof
from .handling import handling_of, taped_u_m
from .lengths import UNITS, parse_length, unit_name
from .table import Row, read_table

HEADINGS = ("edge", "from", "to", "length", "unit", "how", "u", "note")
MOST_U = 0.5  # of a length: worse is no measurement
EDGES_SHOWN = 12


def read_tape(content: bytes, *, file: str, roof: Roof) -> tuple[TapeReading, ...]:
    """The readings of a tape table.

    Parameters
    ----------
    content : bytes
        CSV with the headings `edge` (an id, or several joined by +) or `from` and `to` (a corner like e1/e4,
        or x y z in metres of the roof's grid), `length`, and where wanted `unit`, `how`,
        `u` (standard uncertainty, in the unit) and `note`.
    file : str
        For messages.
    roof : Roof
        Whose edges it names.

    Raises
    ------
    InputError
        With the line's number: what is there, and what is needed.
    """
    rows = read_table(content, file=file, known=HEADINGS, needed=("length",))
    return tuple(_reading(row, roof) for row in rows)


def read_again(reading: TapeReading, roof: Roof) -> TapeReading | None:
    """A reading of the same places on a roof that was corrected since; None where they are no more."""
    try:
        if reading.edges:
            return replace(reading, edges=edges_named("+".join(reading.edges), roof, where=""))
        if reading.corners is not None:
            start, _, end = reading.of.partition(" to ")
            corners = _corner(start, roof, where=""), _corner(end, roof, where="")
            return replace(reading, corners=corners)  # type: ignore[arg-type]
    except InputError:
        return None
    return reading


def edges_named(text: str, roof: Roof, *, where: str) -> tuple[str, ...]:
    """Ids of edges joined by +.

    Raises
    ------
    InputError
        If one is not of this roof, or stands twice.
    """
    ids = {edge.id.casefold(): edge.id for edge in roof.edges}
    names = []
    for part in text.split("+"):
        found = ids.get(part.strip().casefold())
        if found is None:
            known = [edge.id for edge in roof.edges]
            more = ", ..." if len(known) > EDGES_SHOWN else ""
            raise InputError(
                f"{where}: edge {part.strip()!r} is not of this roof, need one of"
                f" {', '.join(known[:EDGES_SHOWN])}{more} as the plan has them"
            )
        if found in names:
            raise InputError(f"{where}: edge {found} stands twice, need each once")
        names.append(found)
    return tuple(names)


def _reading(row: Row, roof: Roof) -> TapeReading:
    edge, start, end = row.get("edge"), row.get("from"), row.get("to")
    if bool(edge) == bool(start or end) or bool(start) != bool(end):
        raise InputError(
            f"{row.where}: got edge {edge!r}, from {start!r} and to {end!r}, need edge or from and to"
        )
    if not row.get("length"):
        raise InputError(f"{row.where}: no length, need one like 12' 6\" or 3.81 m")
    stated = parse_length(row.get("length"), row.get("unit"), where=row.where)
    length_m, how = stated.length_m, row.get("how")
    u_m = _told_u(row, length_m)
    if u_m is None:
        how = handling_of(how, where=row.where)
        u_m = taped_u_m(length_m, stated.step_m, how)
    told = row.get("length")
    unit = unit_name(row.get("unit"), where=row.where)
    text = told if not told.replace(".", "").replace(",", "").isdigit() else f"{told} {unit}"
    common = {"where": row.where, "stated": text, "length_m": length_m, "u_m": u_m, "how": how}
    if edge:
        names = edges_named(edge, roof, where=row.where)
        return TapeReading(of="+".join(names), edges=names, **common)  # type: ignore[arg-type]
    corners = [_corner(place, roof, where=row.where) for place in (start, end)]
    of = f"{start} to {end}"
    if all(corner is not None for corner in corners):
        if corners[0] == corners[1]:
            raise InputError(f"{row.where}: from {start!r} and to {end!r} are one corner, need two")
        return TapeReading(of=of, corners=(corners[0], corners[1]), **common)  # type: ignore[arg-type]
    ends = tuple(
        _point(place, roof, where=row.where) if corner is None else _of_corner(roof, corner)
        for place, corner in zip((start, end), corners, strict=True)
    )
    if math.dist(*ends) == 0:
        raise InputError(f"{row.where}: from {start!r} and to {end!r} are one point, need two")
    return TapeReading(of=of, ends=(ends[0], ends[1]), **common)  # type: ignore[arg-type]


def _told_u(row: Row, length_m: float) -> float | None:
    """The standard uncertainty that the table gives [m]."""
    text = row.get("u").replace(",", ".")
    if not text:
        return None
    unit = unit_name(row.get("unit"), where=row.where)
    try:
        u = float(text)
    except ValueError:
        u = math.nan
    if not unit or not math.isfinite(u) or u <= 0:
        raise InputError(
            f"{row.where}: u {row.get('u')!r}, need a number above 0 in a unit that the line gives"
        )
    u_m = u * UNITS[unit]
    if u_m > MOST_U * length_m:
        raise InputError(f"{row.where}: u is {u_m:g} m of {length_m:g} m, need less than half of the length")
    return u_m


def _corner(place: str, roof: Roof, *, where: str) -> int | None:
    """The corner where edges meet, of e1/e4; None for another kind of place."""
    if "/" not in place:
        return None
    parts = [edges_named(part, roof, where=where) for part in place.split("/")]
    by_id = {edge.id: edge for edge in roof.edges}
    ends = [{by_id[part[0]].start, by_id[part[0]].end} for part in parts if len(part) == 1]
    met = set.intersection(*ends) if len(ends) == len(parts) else set()
    if len(met) != 1:
        raise InputError(
            f"{where}: edges {place} meet in {len(met)} corners, need two or more that meet in one"
        )
    return met.pop()


def _point(place: str, roof: Roof, *, where: str) -> Point:
    try:
        numbers = [float(part) for part in place.split()]
    except ValueError:
        numbers = []
    if len(numbers) != 3 or not all(math.isfinite(number) for number in numbers):
        raise InputError(f"{where}: place {place!r}, need a corner like e1/e4 or x y z in metres")
    local: Sequence[float] = [n - float(o) for n, o in zip(numbers, roof.frame.origin, strict=True)]
    return local[0], local[1], local[2]


def _of_corner(roof: Roof, row: int) -> Point:
    x, y, z = roof.vertices[row].tolist()
    return x, y, z
