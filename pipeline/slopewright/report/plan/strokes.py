"""How each kind of edge is drawn: by its stroke and a letter, never by colour."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np

from ...scene import Array, EdgeKind
from .svg import INK, element, line, polyline, unit

TICK_STEP_MM = 2.2
INFERRED_RADIUS_MM = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """One kind's letter and line."""

    letter: str
    width_mm: float
    dashes: str = ""
    double_mm: float = 0.0  # distance of a second line, towards the wall
    ticks_mm: float = 0.0  # length of the ticks towards the wall


STROKES = {
    EdgeKind.RIDGE: Stroke(letter="R", width_mm=0.9),
    EdgeKind.HIP: Stroke(letter="H", width_mm=0.5, dashes="5 1 1 1"),
    EdgeKind.VALLEY: Stroke(letter="V", width_mm=0.6, dashes="2 1.1"),
    EdgeKind.EAVE: Stroke(letter="E", width_mm=0.45),
    EdgeKind.RAKE: Stroke(letter="K", width_mm=0.2),
    EdgeKind.SIDEWALL: Stroke(letter="S", width_mm=0.3, ticks_mm=1.0),
    EdgeKind.HEADWALL: Stroke(letter="W", width_mm=0.3, double_mm=0.9),
    EdgeKind.PITCH_BREAK: Stroke(letter="B", width_mm=0.35, dashes="0.4 1"),
    EdgeKind.PARAPET: Stroke(letter="P", width_mm=0.3, double_mm=0.9, ticks_mm=0.9),
    EdgeKind.UNKNOWN: Stroke(letter="U", width_mm=0.3, dashes="3 1.5 0.4 1.5 0.4 1.5"),
}


def draw_edge(parent: ET.Element, kind: EdgeKind, start: Array, end: Array, outward: Array) -> None:
    """Draw an edge.

    Parameters
    ----------
    parent : Element
    kind : EdgeKind
    start, end : array, shape (2,)
        On the sheet [mm].
    outward : array, shape (2,)
        Unit vector across the edge, away from the plane that ends there.
    """
    stroke = STROKES[kind]
    line(parent, start, end, stroke.width_mm, stroke.dashes, class_="axis")
    if stroke.double_mm:
        shift = stroke.double_mm * outward
        line(parent, start + shift, end + shift, stroke.width_mm)
    if stroke.ticks_mm:
        length = float(np.hypot(*(end - start)))
        n = max(int(length / TICK_STEP_MM), 1)
        for i in range(n):
            foot = start + (i + 0.5) / n * (end - start)
            line(parent, foot, foot + stroke.ticks_mm * outward, 0.2)


def draw_inferred(parent: ET.Element, middle: Array) -> None:
    """The mark of an edge of which less than half was seen."""
    element(
        parent,
        "circle",
        cx=middle[0],
        cy=middle[1],
        r=INFERRED_RADIUS_MM,
        fill="white",
        stroke=INK,
        stroke_width=0.25,
    )


def draw_arrow(parent: ET.Element, tail: Array, tip: Array) -> None:
    """An arrow down the slope."""
    along = unit(tip - tail)
    across = np.array([-along[1], along[0]])
    head = min(1.6, 0.5 * float(np.hypot(*(tip - tail))))
    line(parent, tail, tip - 0.5 * head * along, 0.25, class_="downslope")
    points = [tip, tip - head * along + 0.35 * head * across, tip - head * along - 0.35 * head * across]
    element(parent, "path", d=polyline(points, closed=True), fill=INK)
