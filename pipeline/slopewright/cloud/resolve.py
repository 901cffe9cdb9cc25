"""One horizontal and one vertical unit out of what the file claims and what the user says."""

from __future__ import annotations

from ..errors import InputError
from ..scene import Notice
from ..units import METRES_PER_UNIT
from .raw import Placement, UnitClaim


def check_unit(unit: str | None) -> None:
    """Raise InputError unless `unit` is None, "m", "ft" or "us-ft"."""
    if unit is not None and unit not in METRES_PER_UNIT:
        raise InputError(f"unit: {unit!r}, need m, ft or us-ft")


def resolve_units(name: str, placement: Placement, unit: str | None) -> tuple[str, str, tuple[Notice, ...]]:
    """Horizontal unit, vertical unit, and notices about what had to be assumed.

    Raises
    ------
    InputError
        If no unit is known, the file contradicts itself, or the user contradicts the file.
    """
    stated: dict[str, UnitClaim] = {}
    heights: dict[str, UnitClaim] = {}
    for claim in placement.claims:
        if claim.horizontal is not None:
            stated.setdefault(claim.horizontal, claim)
        if claim.vertical is not None:
            heights.setdefault(claim.vertical, claim)
    horizontal = _one(name, "horizontal unit", stated, unit)
    if horizontal is None:
        if unit is None:
            raise InputError(f"{name}: no unit in the file, need --unit m, ft or us-ft (or unit in job.toml)")
        horizontal = unit
    elif unit is not None and unit != horizontal:
        said = f"{horizontal} ({stated[horizontal].source})"
        raise InputError(
            f"{name}: unit {unit} was given but the file says {said}, need --unit {horizontal} or none"
        )

    vertical = _one(name, "vertical unit", heights, unit)
    if vertical is not None:
        return horizontal, vertical, ()
    if stated and horizontal != "m":
        text = f"the file gives no unit of height; taken as {horizontal}, like x and y"
        return horizontal, horizontal, (Notice(code="vertical_unit_assumed", text=text),)
    return horizontal, horizontal, ()


def _one(name: str, what: str, stated: dict[str, UnitClaim], unit: str | None) -> str | None:
    """The one unit stated; where the file contradicts itself the user decides between its statements."""
    if len(stated) > 1:
        if unit in stated:
            return unit
        said = " but ".join(f"{key} ({claim.source})" for key, claim in stated.items())
        raise InputError(f"{name}: {what} is {said}, need --unit with the true one of these")
    return next(iter(stated), None)
