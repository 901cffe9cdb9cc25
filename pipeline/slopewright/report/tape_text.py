"""Tape measurements beside the roof, as people read them: a row a reading, and what all of them say."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from ..checks import AGREE, CONFLICT, TapeCheck, TapeResult
from ..measurement import Measurement
from ..units import FOOT_M
from .quantity import Unit, percent, with_bound
from .text import shorten

FEET = Unit(name="ft", si=FOOT_M, decimals=2)  # a tape is read to an eighth of an inch
METRES = Unit(name="m", si=1.0, decimals=3)
NOTICED_SCALE_U = 0.01 / 4.5  # 1 % is then found in 95 cases of 100: 2.81 + 1.64 standard deviations
VERDICTS = {AGREE: "agrees", CONFLICT: "CONFLICT", "cannot_tell": "cannot tell"}


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeRow:
    """One reading as text."""

    of: str
    taped: str
    model: str
    difference: str
    e_n: str
    verdict: str
    why: str  # likeliest causes, or why nobody can tell


def tape_rows(check: TapeCheck, *, metric: bool) -> list[TapeRow]:
    """A row a reading, in the order of the table."""
    return [_row(result, metric=metric) for result in check.results]


def tape_verdict(check: TapeCheck) -> str:
    """What all readings together say, in one or two sentences."""
    counts = {v: sum(one.verdict == v for one in check.results) for v in VERDICTS}
    n = len(check.results)
    text = (
        f"{counts[AGREE]} of {n} agree, {counts[CONFLICT]} in conflict, {counts['cannot_tell']} cannot tell."
    )
    if check.scale is not None:
        half = check.scale.half_width
        text += f" Together they say lengths {check.scale.value:+.2%} ± {half:.2%} of the roof's"
        text += ", which contradicts its scale." if check.scale_conflict else "."
        if not check.scale_conflict and check.scale.u > NOTICED_SCALE_U:
            text += " An error of 1 % in the scale would not show in them: tape more or longer edges."
    used = [one.reading.of for one in check.results if one.used and one.verdict == AGREE]
    if used:
        text += (
            f" The roof was adjusted to {', '.join(used)} afterwards; the table shows how it stood before."
        )
    return text


def tape_text(check: TapeCheck, *, metric: bool, width: int) -> str:
    """The check as a screen shows it."""
    rows = tape_rows(check, metric=metric)
    cells = [("of", "taped", "by the roof", "difference", "E_n", "")]
    cells += [(shorten(r.of, 30), r.taped, r.model, r.difference, r.e_n, r.verdict) for r in rows]
    wide = [max(len(row[i]) for row in cells) for i in range(5)]
    lines = []
    for n, row in enumerate(cells):
        shown = [f"{row[0]:<{wide[0]}}", *(f"{row[i]:>{wide[i]}}" for i in range(1, 5)), row[5]]
        lines.append("  ".join(shown).rstrip())
        if n and rows[n - 1].why:
            indent = "    "
            lines += textwrap.wrap(
                rows[n - 1].why, width, initial_indent=indent, subsequent_indent=indent, max_lines=6
            )
    lines.append("")
    lines += textwrap.wrap(tape_verdict(check), width)
    lines += textwrap.wrap(
        f"E_n of at most 1 is agreement within 95 % bounds; from {check.limit:.2f} it is called a conflict.",
        width,
    )
    return "\n".join(lines)


def _row(result: TapeResult, *, metric: bool) -> TapeRow:
    unit = METRES if metric else FEET
    reading = result.reading
    taped = Measurement.normal(reading.length_m, reading.u_m, floor=0.0)
    why = result.reason
    if result.causes:
        why = "Likely: " + "; ".join(f"{c.text} ({percent(c.odds)})" for c in result.causes)
    difference = (reading.length_m - result.model.value) / unit.si
    return TapeRow(
        of=reading.of,
        taped=with_bound(taped, unit),
        model=with_bound(result.model, unit),
        difference=f"{difference:+.{unit.decimals}f} {unit.name}",
        e_n=f"{result.e_n:+.2f}",
        verdict=VERDICTS[result.verdict],
        why=why,
    )
