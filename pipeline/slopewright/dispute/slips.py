"""What a hand, an eye or a typist makes of a length: other lengths that the same words may stand for."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise

from ..errors import InputError
from ..units import FOOT_M, INCH_M
from .lengths import parse_length

LOOK_ALIKE = str.maketrans("69", "96")  # a tape read upside down


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """Another length that may have been meant."""

    kind: str
    text: str
    length_m: float


def slips(stated: str, length_m: float) -> list[Slip]:
    """Lengths that a slip turns into the one that was written.

    Parameters
    ----------
    stated : str
        As written, with its unit.
    length_m : float
        What that says.
    """
    found = [
        *_feet_and_inches(stated, length_m),
        *_counted(stated, length_m),
        *_digits(stated),
        Slip(kind="unit", text="metres written down as feet", length_m=length_m / FOOT_M),
        Slip(kind="unit", text="feet written down as metres", length_m=length_m * FOOT_M),
    ]
    return [slip for slip in found if slip.length_m > 0 and abs(slip.length_m - length_m) > 1e-6]


def _feet_and_inches(stated: str, length_m: float) -> list[Slip]:
    """12.6 ft for 12 ft 6 in, and the other way round."""
    total_ft = length_m / FOOT_M
    feet = int(total_ft + 1e-9)
    if match := re.fullmatch(r"(\d+)[.,](\d{1,2})\s*(?:ft|decimal-ft|us-ft)", stated.strip()):
        inches = int(match[2])
        if inches < 12:
            meant = feet * FOOT_M + inches * INCH_M
            return [Slip(kind="foot_inch", text=f"{feet} ft {inches} in written as {stated}", length_m=meant)]
        return []
    if "'" not in stated and "ft" not in stated:
        return []
    inches_f = (total_ft - feet) * 12
    if abs(inches_f - round(inches_f)) > 1e-6 or not round(inches_f):
        return []
    inches = round(inches_f)
    shown = f"{feet}.{inches}"
    return [Slip(kind="foot_inch", text=f"{shown} ft written as {stated}", length_m=float(shown) * FOOT_M)]


def _counted(stated: str, length_m: float) -> list[Slip]:
    """One or ten units of the tape too many or too few."""
    metric = re.search(r"\d\s*(m|cm|mm)\b", stated) is not None
    steps = ((0.1, "10 cm"), (1.0, "1 m"), (10.0, "10 m")) if metric else (
        (INCH_M, "1 in"), (FOOT_M, "1 ft"), (10 * FOOT_M, "10 ft"),
    )  # fmt: skip
    return [
        Slip(
            kind="miscounted",
            text=f"{name} {'less' if sign > 0 else 'more'} read than there is",
            length_m=length_m + sign * step,
        )
        for step, name in steps
        for sign in (1, -1)
    ]


def _digits(stated: str) -> list[Slip]:
    """Neighbouring digits swapped, 6 taken for 9 or 9 for 6."""
    found: dict[str, str] = {}
    for i, (a, b) in enumerate(pairwise(stated)):
        if a.isdigit() and b.isdigit() and a.isascii() and b.isascii() and a != b:
            found.setdefault(stated[:i] + b + a + stated[i + 2 :], "two digits swapped")
    for i, c in enumerate(stated):
        if c in "69":
            found.setdefault(stated[:i] + c.translate(LOOK_ALIKE) + stated[i + 1 :], "6 and 9 mistaken")
    result = []
    for text, why in found.items():
        number, _, unit = text.rpartition(" ")
        bare = number.replace(".", "").replace(",", "").isdigit()
        try:
            length = parse_length(number if bare else text, unit if bare else "", where="").length_m
        except InputError:
            continue
        result.append(Slip(kind="digits", text=f"{why}: {text} was meant", length_m=length))
    return result
