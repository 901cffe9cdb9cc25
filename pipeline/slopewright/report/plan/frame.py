"""What stands round the drawing: title and totals above, scale bars and north below."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np

from ...roof import Roof
from ...units import FOOT_M
from ..quantity import SQUARE_FEET, SQUARE_METRES, SQUARES, with_bound
from .sheet import MARGIN_MM, Sheet
from .svg import BOLD, INK, element, fitted, line, text

BAR_ROOM_MM = 38.0  # left of the north arrow on the narrowest sheet, Letter upright
BAR_STEPS = (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


def draw_frame(root: ET.Element, roof: Roof, sheet: Sheet, *, title: str, metric: bool) -> None:
    """Draw title, totals, scale bars, north arrow and notes."""
    group = element(root, "g", id="frame")
    width = sheet.width_mm - 2 * MARGIN_MM
    heading = f"Roof plan: {title}" if title else "Roof plan"
    text(
        group,
        MARGIN_MM,
        MARGIN_MM + 4.6,
        fitted(heading, 4.6, width / BOLD),
        4.6,
        font_weight="bold",
        class_="title",
    )
    area = SQUARE_METRES if metric else SQUARES
    plan = SQUARE_METRES if metric else SQUARE_FEET
    totals = (
        f"{with_bound(roof.area, area)} of roof,  {with_bound(roof.plan_area, plan)} in plan"
        "  (± are 95 % bounds)"
    )
    text(group, MARGIN_MM, MARGIN_MM + 9.6, fitted(totals, 3.0, width), 3.0, class_="totals")
    line(
        group,
        np.array([MARGIN_MM, MARGIN_MM + 12.0]),
        np.array([sheet.width_mm - MARGIN_MM, MARGIN_MM + 12.0]),
        0.3,
    )

    _, _, right, bottom = sheet.field_mm
    y = bottom + 6.0
    said = f" ({sheet.scale_said})" if sheet.scale_said else ""
    text(group, MARGIN_MM, y - 1.2, f"Scale 1:{sheet.scale:,}{said} on {sheet.name}", 2.6, class_="scale")
    length = "lengths in m" if metric else "lengths to the half inch"
    text(group, MARGIN_MM, y + 2.6, fitted(f"{length}, as they lie on the slope", 2.2, 66.0), 2.2)
    crs = f"grid {roof.frame.crs}" if roof.frame.crs else "grid of the scan"
    text(group, MARGIN_MM, y + 6.0, fitted(f"north and coordinates: {crs}", 2.2, 66.0), 2.2)
    units = (("m", 1.0), ("ft", FOOT_M)) if metric else (("ft", FOOT_M), ("m", 1.0))
    for i, (name, metres) in enumerate(units):
        _scale_bar(group, sheet, MARGIN_MM + 70.0, y - 2.0 + 5.6 * i, name, metres)
    draw_north(group, right - 8.0, y + 2.0)


def _scale_bar(group: ET.Element, sheet: Sheet, x: float, y: float, name: str, unit_m: float) -> None:
    """Four steps of a round length, every second one filled."""
    mm = unit_m * 1000 / sheet.scale
    step = max((s for s in BAR_STEPS if 4 * s * mm <= BAR_ROOM_MM), default=BAR_STEPS[0])
    bar = element(group, "g", class_="scale-bar", data_unit=name, data_step=step)
    for i in range(4):
        fill = INK if i % 2 == 0 else "white"
        element(
            bar,
            "rect",
            x=x + i * step * mm,
            y=y,
            width=step * mm,
            height=1.2,
            fill=fill,
            stroke=INK,
            stroke_width=0.15,
        )
    for i in (0, 1, 2, 4):
        shown = f"{i * step:g}" + (f" {name}" if i == 4 else "")
        text(bar, x + i * step * mm, y + 3.4, shown, 2.0, text_anchor="middle")


def draw_north(group: ET.Element, x: float, y: float) -> None:
    """An arrow up the sheet, where grid north is."""
    made = element(group, "g", id="north")
    element(made, "path", d=f"M{x} {y - 6} L{x + 1.7} {y} L{x} {y - 1.4} L{x - 1.7} {y} Z", fill=INK)
    text(made, x, y + 3.4, "N", 3.0, text_anchor="middle", font_weight="bold")
    text(made, x - 3.0, y + 3.2, "grid", 1.9, text_anchor="end")
