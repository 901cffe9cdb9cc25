"""A plane's courses drawn in true shape, as SVG.  Millimetres on paper."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np

from ...scene import Array
from ...units import SQUARE_M2
from .layout import PlaneCourses, RoofCourses, outlines
from .reuse import Policy

WIDTH_MM = 180.0  # of the drawing, on A4 or letter
MARGIN_MM = 6.0
TITLE_MM = 11.0
INK = "#111111"
WHOLE, CUT, OFFCUT = (
    "#ffffff",
    "#c9d7e8",
    "#f0d9a8",
)  # apart in black and white too: 100, 83 and 86 % with a mark


def draw_courses(courses: RoofCourses, plane: str, *, policy: Policy = Policy.PLANE) -> str:
    """Draw one plane's pieces, eave below: white whole, blue cut from a new module, dotted from an offcut.

    Parameters
    ----------
    courses : RoofCourses
    plane : str
        Which plane.
    policy : Policy
        For what comes from an offcut.

    Returns
    -------
    str
        An SVG document.
    """
    at = next(i for i, one in enumerate(courses.planes) if one.shape.plane == plane)
    laid = courses.planes[at]
    source = next(cutting for cutting in courses.cuttings if cutting.policy is policy).source[at]
    others = [
        set(cutting.source[i].tolist())
        for cutting in courses.cuttings
        if cutting.policy is policy
        for i in range(at)
    ]
    corners = np.concatenate([*laid.shape.rings, *laid.shape.covered])
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = (WIDTH_MM - 2 * MARGIN_MM) / float(max(high - low))
    height_mm = (high[1] - low[1]) * scale + 2 * MARGIN_MM + TITLE_MM

    def paper(ring: Array) -> str:
        x = MARGIN_MM + (ring[:, 0] - low[0]) * scale
        y = height_mm - MARGIN_MM - (ring[:, 1] - low[1]) * scale
        return "M" + " L".join(f"{a:.2f} {b:.2f}" for a, b in zip(x, y, strict=True)) + " Z"

    root = ET.Element(
        "svg",
        xmlns="http://www.w3.org/2000/svg",
        width=f"{WIDTH_MM:g}mm",
        height=f"{height_mm:.2f}mm",
        viewBox=f"0 0 {WIDTH_MM:g} {height_mm:.2f}",
    )
    ET.SubElement(root, "rect", width="100%", height="100%", fill="#ffffff")
    seen: set[int] = set().union(*others)
    faces = outlines(laid)
    for ring, module, whole in zip(faces, source.tolist(), laid.whole, strict=True):
        again = module in seen
        seen.add(module)
        if len(ring) == 0:
            continue
        fill = WHOLE if whole else OFFCUT if again else CUT
        piece = ET.SubElement(root, "path", d=paper(ring), fill=fill, stroke=INK)
        piece.set("stroke-width", "0.08")
        if again:
            piece.set("stroke-dasharray", "0.4 0.3")
    for ring in laid.shape.rings:
        outline = ET.SubElement(root, "path", d=paper(ring), fill="none", stroke=INK)
        outline.set("stroke-width", "0.45")
    modules = len(set(source.tolist()) - set().union(*others))
    legend = "White: whole.  Shaded: cut from a new module.  Dotted: cut from an offcut."
    for y_mm, size_mm, words in ((7.0, 3.6, _title(laid, modules, policy)), (11.5, 2.8, legend)):
        line = ET.SubElement(root, "text", x=f"{MARGIN_MM:g}", y=f"{y_mm:g}", fill=INK)
        line.set("font-size", f"{size_mm:g}")
        line.set("font-family", "Helvetica, Arial, 'DejaVu Sans', sans-serif")
        line.text = words
    return ET.tostring(root, encoding="unicode")


def _title(laid: PlaneCourses, modules: int, policy: Policy) -> str:
    return (
        f"{laid.shape.plane}: {laid.shape.area_m2 / SQUARE_M2:.2f} sq, {laid.n_courses} courses,"
        f" {laid.n_pieces} pieces ({laid.n_cut} cut) from {modules} modules, offcuts: {policy}"
    )
