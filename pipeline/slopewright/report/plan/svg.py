"""Elements of an SVG drawing.  Built as a tree, so that text can only ever be text."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from xml.etree import ElementTree as ET

import numpy as np

from ...scene import Array
from ..text import plain_text

FONT = (
    "'Open Sans', Helvetica, Arial, 'DejaVu Sans', sans-serif"  # the first and the last come with the program
)
INK = "#111111"
# Advance widths in em, of the widest of the usual sans-serif fonts, so that what is laid out fits in any.
BOLD = 1.15  # how much wider bold type is
_NARROW, _DIGIT, _LOWER, _UPPER, _WIDE, _EMOJI = 0.42, 0.64, 0.62, 0.74, 1.05, 1.35


def figure(width_mm: float, height_mm: float) -> ET.Element:
    """The root of a drawing in millimetres, y down."""
    return ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{number(width_mm)}mm",
            "height": f"{number(height_mm)}mm",
            "viewBox": f"0 0 {number(width_mm)} {number(height_mm)}",
            "font-family": FONT,
            "fill": INK,
        },
    )


def number(value: float) -> str:
    """A coordinate [mm] with three decimals at most."""
    return f"{round(float(value), 3) + 0.0:.3f}".rstrip("0").rstrip(".")


def element(parent: ET.Element, tag: str, **attributes: str | float) -> ET.Element:
    """A child element; `_` in an attribute's name stands for `-`, and a trailing one is dropped."""
    shown = {
        name.rstrip("_").replace("_", "-"): plain_text(value) if isinstance(value, str) else number(value)
        for name, value in attributes.items()
    }
    return ET.SubElement(parent, tag, shown)


def text(
    parent: ET.Element, x: float, y: float, content: str, size: float, **attributes: str | float
) -> ET.Element:
    """A line of text with its baseline at (x, y)."""
    made = element(parent, "text", x=x, y=y, font_size=size, **attributes)
    made.text = plain_text(content)
    return made


def polyline(points: Iterable[Array] | Array, *, closed: bool = False) -> str:
    """Path data through points [mm]."""
    joined = " L".join(f"{number(x)} {number(y)}" for x, y in points)
    return f"M{joined}" + (" Z" if closed else "")


def line(
    parent: ET.Element, start: Array, end: Array, width: float, dashes: str = "", **more: str
) -> ET.Element:
    """A straight line of a width [mm]."""
    extra = {"stroke_dasharray": dashes} if dashes else {}
    return element(
        parent, "path", d=polyline([start, end]), stroke=INK, stroke_width=width, fill="none", **extra, **more
    )


def text_width(content: str, size: float) -> float:
    """About how wide a line of text is [mm], rather more than less."""
    return size * sum(_advance(c) for c in content)


def _advance(c: str) -> float:
    if unicodedata.combining(c):
        return 0.0
    if unicodedata.east_asian_width(c) in "WF":
        return _EMOJI if unicodedata.category(c) == "So" else _WIDE
    if c.isdigit() and c.isascii():
        return _DIGIT
    if c in " .,:;'\"|!il()[]’-°":
        return _NARROW
    if c.isascii() and not c.isupper():
        return _LOWER if c.isalpha() else _WIDE
    return _UPPER if c.isascii() or c.isalpha() else _WIDE


def fitted(content: str, size: float, room: float) -> str:
    """One line of text cut to a room [mm], the cut marked."""
    content = plain_text(content)
    if text_width(content, size) <= room:
        return content
    kept = content
    while kept and text_width(kept + "…", size) > room:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def unit(vector: Array) -> Array:
    """A vector's direction."""
    direction: Array = vector / np.hypot(*vector)
    return direction
