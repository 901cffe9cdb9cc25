"""What the roof was held against, as text for the later pages."""

from __future__ import annotations

from typing import Any

from ...checks import Comparison, TapeCheck
from ..compare_text import compared_rows, compared_verdict, explanations
from ..pictures import Picture
from ..printable import printable
from ..quantity import length_text
from ..tape_text import tape_rows, tape_verdict

NAME = 60  # characters of what was taped
OVERLAY_MM, SQUARE_ON_MM = (170.0, 108.0), (86.0, 90.0)  # width and height at most


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


def photo(picture: Picture, aspect: float, *, metric: bool) -> dict[str, Any]:
    """What is said below a picture and in place of it, and how wide it is shown [mm]."""
    most_mm = OVERLAY_MM if picture.plane is None else SQUARE_ON_MM
    width = min(most_mm[0], most_mm[1] * aspect)
    planes = printable(", ".join(picture.planes), 300)
    if picture.plane is None:
        told = f"{printable(picture.photo, 120)}: planes {planes} with their edges"
        return {
            "square_on": False,
            "width": width,
            "caption": told,
            "alt": f"Photo with the planes {planes} drawn over it.",
        }
    scale = ""
    if picture.px_per_m:
        pixel_m = 1 / picture.px_per_m
        scale = f", {picture.px_per_m:.0f} pixels a metre in the folder (a pixel is {100 * pixel_m:.1f} cm)"
        if not metric:
            foot = length_text(1.0, metric=False)
            scale = f", {picture.px_per_m:.0f} pixels a metre ({foot}) in the folder"
    top = f", {printable(picture.top, 60)} up" if picture.top else ""
    told = f"Plane {planes} seen square on{top}{scale}"
    return {
        "square_on": True,
        "width": width,
        "caption": told,
        "alt": f"Plane {planes} as photos show it, seen square on.",
    }
