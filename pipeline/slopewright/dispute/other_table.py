"""Another party's list of quantities, and the mapping of its wording to ours."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping

from ..checks import Theirs
from ..errors import InputError
from ..units import FOOT_M, SQUARE_M2
from .ours import Ours
from .table import Row, read_table

HEADINGS = ("item", "quantity", "unit", "note")
IGNORE = "ignore"
MOST = 1e7  # of any quantity of one house
NAMES_SHOWN = 14
UNITS = {  # spelling: unit of a takeoff line, and how many of it one is
    **dict.fromkeys(("sq", "square", "squares"), ("sq", 1.0)),
    **dict.fromkeys(("sf", "sqft", "sq ft", "ft2", "ft²", "square feet"), ("sq", 0.01)),
    **dict.fromkeys(("m2", "m²", "sqm", "sq m"), ("sq", 1 / SQUARE_M2)),
    **dict.fromkeys(("lf", "ft", "feet", "linear feet"), ("lf", 1.0)),
    **dict.fromkeys(("m", "lm", "metres", "meters"), ("lf", 1 / FOOT_M)),
    **dict.fromkeys(("ea", "each", "pc", "pcs"), ("ea", 1.0)),
    **dict.fromkeys(("lb", "lbs"), ("lb", 1.0)),
    **dict.fromkeys(("yd3", "cy", "yd³"), ("yd3", 1.0)),
    **{f"{name}{s}": (name, 1.0) for name in ("bundle", "roll", "sheet", "piece", "load") for s in ("", "s")},
}
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?|\d{1,3}(?:,\d{3})+\.\d+|\d{1,3}(?:,\d{3}){2,}")


def read_other(
    content: bytes, *, file: str, ours: Mapping[str, Ours], names: Mapping[str, str]
) -> tuple[tuple[Theirs, ...], tuple[str, ...]]:
    """The lines of another list, and the items that the mapping ignores.

    Parameters
    ----------
    content : bytes
        CSV with the headings item, quantity, unit and, if wanted, note.
    file : str
        For messages.
    ours : mapping
        Our quantities by name.
    names : mapping
        Their wording to our name, from `read_names`.

    Raises
    ------
    InputError
        With the line's number: no number, an unknown unit, a unit that does not fit, an item that maps to
        nothing of ours, two lines of one of ours; or no line is left.
    """
    by_wording = {_plain(name): name for name in ours} | {_plain(w): name for w, name in names.items()}
    found: list[Theirs] = []
    ignored: list[str] = []
    for row in read_table(content, file=file, known=HEADINGS, needed=("item", "quantity", "unit")):
        item = row.get("item")
        name = by_wording.get(_plain(item)) or by_wording.get(_plain(item).removesuffix("s"))
        if name is None:
            raise InputError(
                f"{row.where}: item {_short(item)!r} maps to nothing of ours; name one of ours in the mapping"
                f' file, or "{IGNORE}": {_listed(ours)}'
            )
        if name == IGNORE:
            ignored.append(item)
            continue
        line = _line(row, item, ours[name])
        twice = next((one for one in found if one.ours == name), None)
        if twice is not None:
            raise InputError(
                f"{row.where}: item {_short(item)!r} is our {name!r} as {twice.where} is, need one line"
            )
        found.append(line)
    if not found:
        raise InputError(f"{file}: every item is ignored by the mapping, need one that is compared")
    return tuple(found), tuple(ignored)


def read_names(content: bytes, *, file: str, ours: Mapping[str, Ours]) -> dict[str, str]:
    """A mapping file: a table [items] with their wording and our name, or "ignore".

    Raises
    ------
    InputError
        If it is no such TOML, or names what is not ours.
    """
    try:
        document = tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise InputError(f"{file}: not UTF-8 text at byte {error.start}, save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{file}: not valid TOML: {error}") from error
    unknown = [key for key in document if key != "items"]
    items = document.get("items")
    if unknown or not isinstance(items, dict):
        got = f"table {unknown[0]!r}" if unknown else "no table [items]"
        raise InputError(f'{file}: {got}, need [items] with lines like "their wording" = "field shingles"')
    by_wording = {_plain(name): name for name in ours} | {IGNORE: IGNORE}
    names = {}
    for wording, name in items.items():
        if not isinstance(name, str) or _plain(name) not in by_wording:
            raise InputError(
                f'{file}: [items] "{_short(wording)}": {_short(str(name))!r} is not ours, need "{IGNORE}" or'
                f" {_listed(ours)}"
            )
        names[wording] = by_wording[_plain(name)]
    return names


def _line(row: Row, item: str, ours: Ours) -> Theirs:
    text = row.get("quantity").replace("\u00a0", "").replace(" ", "")
    if not _NUMBER.fullmatch(text):
        raise InputError(f"{row.where}: quantity {_short(text)!r}, need a number of 0 or more, like 24.5")
    if re.fullmatch(r"\d{1,3},\d{3}", text):
        raise InputError(
            f"{row.where}: quantity {text!r}, the comma can set off thousands or decimals, need"
            f" {text.replace(',', '')} or {text.replace(',', '.')}"
        )
    plain = text.replace(",", "") if "." in text or text.count(",") > 1 else text.replace(",", ".")
    quantity, step = float(plain), 10.0 ** -len(plain.partition(".")[2])
    if quantity > MOST:
        raise InputError(f"{row.where}: quantity {text} is beyond any house, need at most {MOST:,.0f}")
    spelled = " ".join(row.get("unit").casefold().rstrip(".").split())
    if spelled not in UNITS:
        known = ", ".join(dict.fromkeys(unit for unit, _ in UNITS.values()))
        raise InputError(f"{row.where}: unit {_short(row.get('unit'))!r}, need one of {known}, sf, m2, ft, m")
    unit, factor = UNITS[spelled]
    in_packages = unit != ours.unit and ours.order is not None and unit == ours.order.unit
    if unit != ours.unit and not in_packages:
        or_package = f" or {ours.order.unit}" if ours.order is not None else ""
        raise InputError(
            f"{row.where}: unit {row.get('unit')!r} is not that of our {ours.name!r}, need"
            f" {ours.unit}{or_package}"
        )
    return Theirs(
        where=row.where, item=item, ours=ours.name, unit=unit, quantity=quantity * factor, step=step * factor,
        in_packages=in_packages,
    )  # fmt: skip


def _plain(text: str) -> str:
    """Words alone, so that case and punctuation do not matter."""
    return " ".join(re.findall(r"\w+", text.casefold()))


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:60] + "…"


def _listed(ours: Mapping[str, Ours]) -> str:
    names = list(ours)
    more = f" and {len(names) - NAMES_SHOWN} more" if len(names) > NAMES_SHOWN else ""
    return "; ".join(names[:NAMES_SHOWN]) + more
