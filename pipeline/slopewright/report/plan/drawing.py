"""plan.svg: planes with pitch and area, edges with length, and what was not seen, true to scale."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely import LineString, Polygon

from ...roof import Edge, Plane, Roof
from ...scene import Array
from ..colour import css_colour
from ..quantity import INFERRED
from ..text import shorten
from .column import draw_column
from .edge_labels import draw_objects, label_edge
from .frame import draw_frame
from .placing import Occupied, Side
from .plane_labels import label_plane
from .sheet import choose_sheet
from .strokes import STROKES, draw_edge, draw_inferred
from .svg import FONT, INK, element, number, polyline


def plan_svg(roof: Roof, *, title: str = "", metric: bool = False) -> str:
    """The plan drawing.

    Parameters
    ----------
    roof : Roof
    title : str
        The job's name.
    metric : bool
        A4, metres and degrees instead of Letter, feet and inches in 12.

    Returns
    -------
    str
        SVG 1.1 in millimetres of paper, grid north up, at the scale it states.  Elements carry the numbers
        that they show: `data-id`, `data-kind`, `data-length-m`, `data-area-m2`, `data-pitch-deg`.
    """
    sheet = choose_sheet(roof.vertices[:, :2], len(roof.edges), metric=metric)
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{number(sheet.width_mm)}mm",
            "height": f"{number(sheet.height_mm)}mm",
            "viewBox": f"0 0 {number(sheet.width_mm)} {number(sheet.height_mm)}",
            "font-family": FONT,
            "fill": INK,
            "data-scale": str(sheet.scale),
        },
    )
    element(root, "title").text = shorten(f"Roof plan {title}", 300)
    _patterns(root)
    element(root, "rect", x=0.0, y=0.0, width=sheet.width_mm, height=sheet.height_mm, fill="white")

    at = sheet.place(roof.vertices[:, :2])
    lines = [LineString(at[[edge.start, edge.end]]) for edge in roof.edges]
    occupied = Occupied(sheet.field_mm, lines)

    _draw_planes(root, roof, at)
    edges = element(root, "g", id="edges", stroke_linecap="butt")
    for edge in sorted(roof.edges, key=_draw_order):
        _draw_edge(edges, roof, edge, at)
    draw_objects(root, roof, sheet, occupied)
    faces = _visible_faces(roof, at)
    for plane in sorted(roof.planes, key=lambda p: -p.area.value):
        label_plane(root, plane, faces[plane.id], occupied, metric=metric)
    labels = element(root, "g", id="lengths")
    by_length = sorted(roof.edges, key=lambda edge: edge.length.value)
    listed = []
    for edge in by_length:
        side = Side(start=at[edge.start], end=at[edge.end], outward=_outward(roof, edge))
        if not label_edge(labels, edge, side, occupied, metric=metric):
            listed.append(edge)
    draw_frame(root, roof, sheet, title=title, metric=metric)
    draw_column(root, roof, sheet, listed, metric=metric)
    ET.indent(root, " ")
    return ET.tostring(root, encoding="unicode", xml_declaration=False) + "\n"


def _patterns(root: ET.Element) -> None:
    pattern = element(
        element(root, "defs"),
        "pattern",
        id="inferred",
        width=2.4,
        height=2.4,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )
    element(pattern, "path", d="M0 0 V2.4", stroke=INK, stroke_width=0.25)


def _draw_order(edge: Edge) -> float:
    """Wide strokes first, so that a rake over a wall stays in sight."""
    stroke = STROKES[edge.kind]
    return -(stroke.width_mm + 10 * (stroke.double_mm + stroke.ticks_mm))


def _draw_planes(root: ET.Element, roof: Roof, at: Array) -> None:
    """Fills, the lower planes first: where one lies over another, the upper is seen."""
    group = element(root, "g", id="planes")

    def height(plane: Plane) -> float:
        return float(np.mean(roof.vertices[list(plane.loops[0]), 2]))

    for plane in sorted(roof.planes, key=height):
        path = " ".join(polyline(at[list(loop)], closed=True) for loop in plane.loops)
        made = element(
            group,
            "g",
            class_="plane",
            data_id=plane.id,
            data_area_m2=f"{plane.area.value:.6f}",
            data_pitch_deg=f"{plane.pitch_deg.value:.6f}",
        )
        element(made, "path", d=path, fill=css_colour(plane.pitch_deg.value), fill_rule="evenodd")
        if plane.observed < INFERRED:
            element(made, "path", d=path, fill="url(#inferred)", fill_rule="evenodd", opacity=0.35)


def _outward(roof: Roof, edge: Edge) -> Array:
    """Across an edge on the sheet, away from the first plane it bounds; unit."""
    along = roof.vertices[edge.end, :2] - roof.vertices[edge.start, :2]
    length = float(np.hypot(*along)) or 1.0
    right = np.array([along[1], -along[0]]) / length  # outward if the plane's ring runs along the edge
    for plane in roof.planes:
        if edge.planes and plane.id == edge.planes[0]:
            for loop in plane.loops:
                pairs = set(zip(loop, (*loop[1:], loop[0]), strict=True))
                if (edge.end, edge.start) in pairs:
                    right = -right
    outward: Array = right * np.array([1.0, -1.0])
    return outward


def _draw_edge(parent: ET.Element, roof: Roof, edge: Edge, at: Array) -> None:
    group = element(
        parent,
        "g",
        class_="edge",
        data_id=edge.id,
        data_kind=str(edge.kind),
        data_length_m=f"{edge.length.value:.6f}",
        data_observed=f"{edge.observed:.6f}",
    )
    start, end = at[edge.start], at[edge.end]
    draw_edge(group, edge.kind, start, end, _outward(roof, edge))
    if edge.observed < INFERRED:
        draw_inferred(group, (start + end) / 2)


def _visible_faces(roof: Roof, at: Array) -> dict[str, Polygon]:
    """Each plane on the sheet, without what higher planes hide of it."""
    shapes = {
        plane.id: shapely.make_valid(
            Polygon(at[list(plane.loops[0])], [at[list(loop)] for loop in plane.loops[1:]])
        )
        for plane in roof.planes
    }
    top = {plane.id: float(np.mean(roof.vertices[list(plane.loops[0]), 2])) for plane in roof.planes}
    visible = {}
    for name, shape in shapes.items():
        above = [other for key, other in shapes.items() if top[key] > top[name] and other.intersects(shape)]
        seen = shape.difference(shapely.union_all(above)) if above else shape
        parts = [part for part in shapely.get_parts(seen) if isinstance(part, Polygon)]
        visible[name] = max(parts, key=lambda part: part.area) if parts else Polygon()
    return visible
