"""What the roof was held against, as text for the later pages."""

from __future__ import annotations

from typing import Any

from ...checks import Comparison, TapeCheck
from ..compare_text import compared_rows, compared_verdict, explanations
from ..printable import printable
from ..tape_text import tape_rows, tape_verdict

NAME = 60  # characters of what was taped


def tape(check: TapeCheck, *, metric: bool) -> dict[str, Any]:
    """A row a reading, and what all of them say together."""
    return {
        "verdict": printable(tape_verdict(check), 600),
        "limit": f"{check.limit:.2f}",
        "rows": [
            {
                "of": printable(row.of, NAME),
                "taped": row.taped,
                "model": row.model,
                "difference": row.difference,
                "e_n": row.e_n,
                "verdict": row.verdict,
                "why": printable(row.why, 600),
                "told": printable(f"{one.reading.where}: {one.reading.stated}, {one.reading.how}", 200),
            }
            for row, one in zip(tape_rows(check, metric=metric), check.results, strict=True)
        ],
    }


def comparison(found: Comparison, *, metric: bool) -> dict[str, Any]:
    """A row a line of the other list, and what would explain the differences."""
    return {
        "verdict": printable(compared_verdict(found), 900),
        "causes": [printable(text, 400) for text in explanations(found)],
        "rows": [
            {
                "item": printable(row.item, 120),
                "ours": printable(row.ours, NAME),
                "theirs": row.theirs,
                "mine": row.mine,
                "difference": row.difference,
                "verdict": row.verdict,
                "chance": row.chance,
            }
            for row in compared_rows(found, metric=metric)
        ],
    }
