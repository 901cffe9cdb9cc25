"""Lengths as people write them down: 12' 6", 12 ft 6 1/2 in, 3.81 m, 3,81; metres inside.

A form that could be read in two ways is refused, with the ways to write it that cannot.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from ..errors import InputError
from ..units import FOOT_M, INCH_M, US_SURVEY_FOOT_M

UNITS = {
    "m": 1.0,
    "cm": 0.01,
    "mm": 0.001,
    "ft": FOOT_M,
    "decimal-ft": FOOT_M,
    "us-ft": US_SURVEY_FOOT_M,
    "in": INCH_M,
    "ft-in": FOOT_M,
}
NAMES = {  # other spellings
    "feet": "ft", "foot": "ft", "'": "ft", "inch": "in", "inches": "in", '"': "in", "metre": "m",
    "meter": "m",    "metres": "m", "meters": "m", "ft in": "ft-in", "feet and inches": "ft-in",
}  # fmt: skip
MOST_M = 300.0  # no house is taped over more
_PRIMES = str.maketrans({"′": "'", "’": "'", "‘": "'", "`": "'", "″": '"', "”": '"', "“": '"', "\u00a0": " "})
_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_NUMBER = r"\d+(?:[.,]\d+)?"
_FEET = re.compile(rf"(?P<feet>{_NUMBER})\s*(?:'|ft\.?|feet|foot)\s*-?\s*(?P<rest>.*)")
_INCHES = re.compile(
    rf"(?P<inches>{_NUMBER})?(?:\s*-?\s*(?P<part>\d+)\s*/\s*(?P<of>\d+))?\s*(?P<mark>\"|''|in\.?|inch|inches)?"
)
_METRIC = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<unit>mm|cm|m|metres?|meters?)")
_BARE = re.compile(_NUMBER)
_INCH_LIKE = re.compile(r"\d+[.,](\d|1[01]|0\d)")  # 12.6, 12.11, 12.06: may be feet and inches


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """A length that was written down."""

    length_m: float
    step_m: float  # between neighbouring lengths that would have been written: an inch, a centimetre


def parse_length(text: str, unit: str, *, where: str) -> Stated:
    """Read a length.

    Parameters
    ----------
    text : str
        With or without its unit.
    unit : str
        Of the table's column: "m", "cm", "mm", "ft", "decimal-ft", "us-ft", "in", "ft-in", or "" where the
        text has its own.
    where : str
        For messages, like "tape.csv line 4".

    Returns
    -------
    Stated

    Raises
    ------
    InputError
        If the text is no length, has no unit, has two, or can be read in two ways.
    """
    unit = unit_name(unit, where=where)
    plain = text.translate(_PRIMES).strip().lower()
    for sign, fraction in _VULGAR.items():
        plain = plain.replace(sign, f" {fraction}")
    stated = _parsed(plain.strip(), unit, text, where)
    if not 0 < stated.length_m <= MOST_M:
        raise InputError(
            f"{where}: length {text!r} is {stated.length_m:g} m, need above 0 and at most {MOST_M:g} m"
        )
    return stated


def unit_name(unit: str, *, where: str) -> str:
    """A unit by its usual name.

    Raises
    ------
    InputError
        If it is none of length.
    """
    unit = unit.translate(_PRIMES).strip().lower().rstrip(".")
    unit = NAMES.get(unit, unit)
    if unit and unit not in UNITS:
        raise InputError(f"{where}: unit {unit!r}, need one of {', '.join(UNITS)}")
    return unit


def _parsed(plain: str, unit: str, text: str, where: str) -> Stated:
    if match := _METRIC.fullmatch(plain):
        own = NAMES.get(match["unit"], match["unit"])
        if unit not in ("", own):
            raise InputError(f"{where}: length {text!r} in a column of {unit!r}, need one unit")
        return _decimal(match["number"], own, text, where)
    if _BARE.fullmatch(plain):
        return _bare(plain, unit, text, where)
    if unit not in ("", "ft", "in", "ft-in", "decimal-ft"):
        raise InputError(f"{where}: length {text!r}, need a number in {unit}, like 3.81")
    feet, rest = 0.0, plain
    step_m = FOOT_M
    if match := _FEET.fullmatch(plain):
        if re.search("[.,]", match["feet"]) and match["rest"]:
            raise InputError(f"{where}: length {text!r} has a part of a foot and inches, need one of them")
        stated = _decimal(match["feet"], "ft", text, where)
        feet, rest, step_m = stated.length_m, match["rest"].strip(), stated.step_m
        if not rest:
            return stated
    return _with_inches(feet, rest, text, where) if rest else Stated(length_m=feet, step_m=step_m)


def _with_inches(feet_m: float, rest: str, text: str, where: str) -> Stated:
    match = _INCHES.fullmatch(rest)
    ours = "need a length like 12' 6 1/2\", 12 ft 6 in or 3.81 m"
    if not match or not (match["inches"] or match["part"]) or not (match["mark"] or feet_m):
        raise InputError(f"{where}: length {text!r}, {ours}")
    inches, step = Fraction(0), Fraction(1)
    if match["inches"]:
        number = match["inches"].replace(",", ".")
        inches = Fraction(number)
        step = Fraction(1, 10 ** len(number.partition(".")[2]))
    if match["part"]:
        if int(match["of"]) == 0 or step != 1:
            raise InputError(f"{where}: length {text!r}, {ours}")
        inches += Fraction(int(match["part"]), int(match["of"]))
        step = Fraction(1, int(match["of"]))
    if feet_m and inches >= 12:
        raise InputError(f"{where}: length {text!r} has {float(inches):g} inches beside feet, need below 12")
    return Stated(length_m=feet_m + float(inches) * INCH_M, step_m=float(step) * INCH_M)


def _bare(plain: str, unit: str, text: str, where: str) -> Stated:
    if not unit:
        raise InputError(f"{where}: length {text!r} has no unit, need one of {', '.join(UNITS)} beside it")
    if unit in ("ft", "ft-in") and _INCH_LIKE.fullmatch(plain):
        feet, _, inches = plain.replace(",", ".").partition(".")
        raise InputError(
            f"{where}: length {text!r} in {unit} can be {feet}.{inches} feet or {feet} feet {int(inches)}"
            f" inches, need {feet}' {int(inches)}\" for the one, or unit decimal-ft for the other"
        )
    if unit == "ft-in" and not plain.isdigit():
        raise InputError(f"{where}: length {text!r} in ft-in, need feet and inches like 12' 6\"")
    return _decimal(plain, unit, text, where)


def _decimal(number: str, unit: str, text: str, where: str) -> Stated:
    """A number with a point or a comma; a comma before three digits could set off thousands."""
    whole, mark, part = number.partition("," if "," in number else ".")
    if mark == "," and len(part) == 3:
        raise InputError(
            f"{where}: length {text!r}, the comma can set off thousands or decimals, need a point or none"
        )
    value = float(f"{whole}.{part or 0}")
    return Stated(length_m=value * UNITS[unit], step_m=UNITS[unit] / 10 ** len(part))
