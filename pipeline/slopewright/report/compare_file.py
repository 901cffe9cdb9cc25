"""compare.json: another party's quantities beside ours; what it was made from, and what came of it."""

from __future__ import annotations

from typing import Any

from ..checks import Comparison, Theirs
from ..measurement import Measurement
from .jsonfile import Field, measurement_json, rounded
from .tape_file import causes_json

FORMAT = "slopewright-compare"
VERSION = 1
MOST_EXPOSURE_M = 1.0


def compare_json(comparison: Comparison, listed: tuple[Theirs, ...], *, exposure_m: float) -> dict[str, Any]:
    """The content of compare.json; `listed` are the lines that `comparison` is of, in its order."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "exposure_m": rounded(exposure_m),
        "lines": [
            {
                "where": line.where,
                "item": line.item,
                "ours": line.ours,
                "unit": line.unit,
                "theirs": rounded(line.theirs),
                "step": rounded(from_list.step),
                "in_packages": from_list.in_packages,
                "net": measurement_json(line.net),
                "with_waste": _or_none(line.with_waste),
                "basis": line.basis,
                "difference": rounded(line.difference),
                "within": line.within,
                "chance_more": rounded(line.chance_more),
                "from": list(line.origin),
            }
            for line, from_list in zip(comparison.lines, listed, strict=True)
        ],
        "causes": causes_json(comparison.causes),
        "left_out": list(comparison.left_out),
    }


def listed_from_json(content: Any, *, file: str) -> tuple[tuple[Theirs, ...], tuple[str, ...], float]:
    """The lines that a compare.json was made from, what was left out, and the exposure of a course [m].

    Raises
    ------
    InputError
        If a field is missing or of a wrong kind.
    """
    root = Field(file, content)
    root.header(FORMAT, VERSION)
    lines = tuple(
        Theirs(
            where=field["where"].text(),
            item=field["item"].text(),
            ours=field["ours"].text(),
            unit=field["unit"].text(),
            quantity=field["theirs"].number(0.0),
            step=field["step"].number(0.0),
            in_packages=field["in_packages"].value is True,
        )
        for field in root["lines"]
    )
    return lines, root["left_out"].texts(), root["exposure_m"].number(0.0, MOST_EXPOSURE_M)


def _or_none(measured: Measurement | None) -> dict[str, float] | None:
    return None if measured is None else measurement_json(measured)
