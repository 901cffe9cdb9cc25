"""The column beside the drawing: every plane's numbers, every kind's total, and how to read the lines."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np

from ...roof import Edge, Roof
from ...scene import EdgeKind
from ..colour import css_colour
from ..quantity import (
    FEET,
    INFERRED,
    METRES,
    SQUARE_FEET,
    SQUARE_METRES,
    angle_text,
    bound_decimals,
    rise_text,
    rounded_bound,
    with_bound,
)
from .edge_labels import edge_length_text
from .sheet import COLUMN_MM, Sheet
from .strokes import STROKES, draw_edge, draw_inferred
from .svg import BOLD, INK, element, fitted, line, text

ROW_MM = 4.0  # of a table, when there is room
LEAST_ROW_MM = 2.7
LIST_COLUMNS = 3
TYPE_SHARE = 0.6  # size of type over height of row
RAMP_RISES = (0, 3, 6, 9, 12, 18)  # in 12


def draw_column(root: ET.Element, roof: Roof, sheet: Sheet, listed: list[Edge], *, metric: bool) -> None:
    """Draw the tables; rows shrink when there are many, and what then finds no room is counted."""
    left, top, bottom = sheet.column_mm
    kinds = [kind for kind in EdgeKind if kind in roof.edge_totals]
    fixed = (len(kinds) + 2) * ROW_MM + 3 * 5.0 + 12.0
    rows = len(roof.planes) + -(-len(listed) // LIST_COLUMNS) + 2
    row = min(ROW_MM, max((bottom - top - fixed) / rows, LEAST_ROW_MM))
    fitting = int((bottom - top - fixed) / row)
    group = element(root, "g", id="tables")
    y = _planes(group, roof, left, top, row, fitting, metric=metric)
    y = _kinds(group, roof, kinds, left, y + 4.0, metric=metric)
    y = _listed(group, listed, left, y + 2.0, row, metric=metric)
    _ramp(group, left, min(y + 5.0, bottom - 8.0), metric=metric)


def _heading(group: ET.Element, left: float, y: float, content: str) -> float:
    text(group, left, y, content, 2.6, font_weight="bold")
    line(group, np.array([left, y + 1.0]), np.array([left + COLUMN_MM, y + 1.0]), 0.15)
    return y + 1.0


def _planes(
    group: ET.Element, roof: Roof, left: float, top: float, row: float, fitting: int, *, metric: bool
) -> float:
    y = _heading(group, left, top + 2.0, "Planes")
    unit = SQUARE_METRES if metric else SQUARE_FEET
    text(group, left + 44.0, top + 2.0, unit.name, 2.2, text_anchor="end")
    text(group, left + COLUMN_MM, top + 2.0, "seen", 2.2, text_anchor="end")
    size = TYPE_SHARE * row
    shown = roof.planes if len(roof.planes) <= fitting else roof.planes[: max(fitting - 1, 0)]
    for plane in shown:
        y += row
        base = y - 0.25 * row
        made = element(group, "g", class_="plane-row", data_id=plane.id)
        element(
            made, "rect", x=left, y=base - 0.62 * row, width=2.2, height=0.75 * row,
            fill=css_colour(plane.pitch_deg.value), stroke=INK, stroke_width=0.1,
        )  # fmt: skip
        text(made, left + 3.2, base, fitted(plane.id, size, 9.0 / BOLD), size, font_weight="bold")
        pitch = angle_text(plane.pitch_deg.value) if metric else rise_text(plane.rise_in_12.value)
        text(made, left + 13.0, base, pitch, size)
        half = plane.area.half_width / unit.si
        decimals = bound_decimals(half, unit.decimals)
        text(made, left + 44.0, base, f"{plane.area.value / unit.si:,.{decimals}f}", size, text_anchor="end")
        text(made, left + 45.0, base, f"± {rounded_bound(half, decimals):,.{decimals}f}", size)
        seen = f"{100 * plane.observed:.0f} %" + ("*" if plane.observed < INFERRED else "")
        text(made, left + COLUMN_MM, base, seen, size, text_anchor="end")
    if len(shown) < len(roof.planes):
        y += row
        text(group, left, y - 0.25 * row, f"and {len(roof.planes) - len(shown)} more in roof.json", size)
    return y + 1.5


def _kinds(
    group: ET.Element, roof: Roof, kinds: list[EdgeKind], left: float, y: float, *, metric: bool
) -> float:
    """The key to the lines, with the total of each kind."""
    y = _heading(group, left, y + 2.0, "Edges")
    unit = METRES if metric else FEET
    for kind in kinds:
        y += ROW_MM
        made = element(group, "g", class_="kind-row", data_kind=str(kind))
        middle = y - 0.45 * ROW_MM
        draw_edge(
            made, kind, np.array([left, middle]), np.array([left + 14.0, middle]), np.array([0.0, -1.0])
        )
        base = y - 0.25 * ROW_MM
        text(made, left + 16.0, base, STROKES[kind].letter, 2.4, font_weight="bold")
        text(made, left + 19.5, base, str(kind).replace("_", " "), 2.4)
        text(made, left + COLUMN_MM, base, with_bound(roof.edge_totals[kind], unit), 2.4, text_anchor="end")
    y += ROW_MM
    draw_inferred(group, np.array([left + 7.0, y - 0.45 * ROW_MM]))
    text(group, left + 16.0, y - 0.25 * ROW_MM, "(length): less than half of it was seen", 2.2)
    y += ROW_MM
    element(
        group, "rect", x=left + 2.0, y=y - 0.85 * ROW_MM, width=10.0, height=0.75 * ROW_MM,
        fill="url(#inferred)", opacity=0.35,
    )  # fmt: skip
    text(group, left + 16.0, y - 0.25 * ROW_MM, "*  plane of which less than half was seen", 2.2)
    return y


def _listed(
    group: ET.Element, edges: list[Edge], left: float, y: float, row: float, *, metric: bool
) -> float:
    """Lengths for which the drawing had no room, in a few columns."""
    if not edges:
        return y
    y = _heading(group, left, y + 3.0, "Lengths by number")
    deep = -(-len(edges) // LIST_COLUMNS)
    size = TYPE_SHARE * row
    wide = COLUMN_MM / LIST_COLUMNS
    for i, edge in enumerate(sorted(edges, key=lambda e: (len(e.id), e.id))):
        base = y + (i % deep + 0.75) * row
        made = element(group, "g", class_="length", data_id=edge.id)
        name, length = fitted(edge.id, size, 0.4 * wide), edge_length_text(edge, metric=metric)
        content = f"{name} {STROKES[edge.kind].letter} {length}"
        text(made, left + (i // deep) * wide, base, fitted(content, size, wide), size)
    return y + deep * row


def _ramp(group: ET.Element, left: float, y: float, *, metric: bool) -> None:
    """The key to the colours of pitch."""
    text(group, left, y + 3.0, "pitch", 2.2)
    for i, rise in enumerate(RAMP_RISES):
        degrees = float(np.rad2deg(np.arctan2(rise, 12)))
        x = left + 8.0 + 9.0 * i
        element(
            group,
            "rect",
            x=x,
            y=y,
            width=9.0,
            height=4.0,
            fill=css_colour(degrees),
            stroke=INK,
            stroke_width=0.1,
        )
        shown = f"{degrees:.0f}°" if metric else f"{rise}"
        text(group, x + 4.5, y + 2.9, shown, 2.2, text_anchor="middle")
    if not metric:
        text(group, left + 8.0, y + 7.0, "inches of rise in 12", 2.0)
