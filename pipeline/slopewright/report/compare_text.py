"""Another party's list beside ours, as people read it."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from ..checks import ComparedLine, Comparison
from ..measurement import Measurement
from .quantity import METRIC_OF_TRADE, Unit, percent, with_bound
from .text import plain_text, shorten

DECIMALS = {"sq": 2, "lf": 1}
NEVER, SURE = 0.0005, 0.9995


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedRow:
    """One pair of lines as text."""

    item: str
    ours: str
    theirs: str
    mine: str
    difference: str
    verdict: str
    chance: str


def compared_rows(comparison: Comparison, *, metric: bool) -> list[ComparedRow]:
    """A row a line, in the order of the other list."""
    return [_row(line, metric=metric) for line in comparison.lines]


def compared_verdict(comparison: Comparison) -> str:
    """How many lines are within our bounds."""
    inside = sum(line.within for line in comparison.lines)
    text = f"{inside} of {len(comparison.lines)} lines are within our 95 % bounds."
    if comparison.left_out:
        text += f" Left out by the mapping: {', '.join(shorten(item, 40) for item in comparison.left_out)}."
    return text


def explanations(comparison: Comparison) -> list[str]:
    """What would explain the differences, likeliest first, with the odds."""
    return [f"{percent(cause.odds)}: {plain_text(cause.text)}" for cause in comparison.causes]


def compare_text(comparison: Comparison, *, metric: bool, width: int) -> str:
    """The comparison as a screen shows it."""
    rows = compared_rows(comparison, metric=metric)
    cells = [("item", "theirs", "ours", "difference", "", "true is more")]
    cells += [(shorten(r.item, 28), r.theirs, r.mine, r.difference, r.verdict, r.chance) for r in rows]
    wide = [max(len(row[i]) for row in cells) for i in range(6)]
    lines = []
    for row in cells:
        shown = [
            f"{row[0]:<{wide[0]}}",
            *(f"{row[i]:>{wide[i]}}" for i in (1, 2, 3)),
            f"{row[4]:<{wide[4]}}",
            row[5],
        ]
        lines.append("  ".join(shown).rstrip())
    lines += ["", *textwrap.wrap(compared_verdict(comparison), width)]
    told = explanations(comparison)
    if told:
        lines.append("What would explain the differences, with the odds among the usual mistakes:")
        for text in told:
            lines += textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="      ")
    return "\n".join(lines)


def _row(line: ComparedLine, *, metric: bool) -> ComparedRow:
    trade = Unit(name=line.unit, si=1.0, decimals=DECIMALS.get(line.unit, 1))
    unit = METRIC_OF_TRADE.get(line.unit, trade) if metric else trade
    mine = line.with_waste if line.basis == "net + waste" and line.with_waste is not None else line.net
    suffix = {"net": "", "net + waste": " with waste", "order": " ordered"}[line.basis]
    return ComparedRow(
        item=line.item,
        ours=line.ours + suffix,
        theirs=f"{line.theirs / unit.si:,.{unit.decimals}f} {unit.name}",
        mine=_quantity(mine, unit),
        difference=f"{round(line.difference / unit.si, unit.decimals) + 0.0:+,.{unit.decimals}f}",
        verdict="within" if line.within else "OUTSIDE",
        chance=_chance(line.chance_more),
    )


def _chance(share: float) -> str:
    """The chance that the true quantity is above theirs."""
    if share < NEVER:
        return "under 0.1 %"
    if share > SURE:
        return "over 99.9 %"
    return f"{100 * share:.1f} %"


def _quantity(measured: Measurement, unit: Unit) -> str:
    if measured.high - measured.low < 1e-9:
        return f"{measured.value / unit.si:,.{unit.decimals}f} {unit.name}".replace(".0 ", " ")
    return with_bound(measured, unit)
