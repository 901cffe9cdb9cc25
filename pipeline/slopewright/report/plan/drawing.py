"""plan.svg: planes with pitch and area, edges with length, and what was not seen, true to scale."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from shapely import LineString

from ...roof import Roof
from ..text import shorten
from .column import draw_column
from .edge_labels import draw_objects, label_edge
from .faces import draw_edges, draw_patterns, draw_planes, outward_of, visible_faces
from .frame import draw_frame
from .placing import Occupied, Side
from .plane_labels import label_plane
from .sheet import choose_sheet
from .svg import element, figure


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
    root = figure(sheet.width_mm, sheet.height_mm)
    root.set("data-scale", str(sheet.scale))
    element(root, "title").text = shorten(f"Roof plan {title}", 300)
    draw_patterns(root)
    element(root, "rect", x=0.0, y=0.0, width=sheet.width_mm, height=sheet.height_mm, fill="white")

    at = sheet.place(roof.vertices[:, :2])
    lines = [LineString(at[[edge.start, edge.end]]) for edge in roof.edges]
    occupied = Occupied(sheet.field_mm, lines)

    draw_planes(root, roof, at)
    draw_edges(root, roof, at)
    draw_objects(root, roof, sheet, occupied)
    faces = visible_faces(roof, at)
    for plane in sorted(roof.planes, key=lambda p: -p.area.value):
        label_plane(root, plane, faces[plane.id], occupied, metric=metric)
    labels = element(root, "g", id="lengths")
    by_length = sorted(roof.edges, key=lambda edge: edge.length.value)
    listed = []
    for edge in by_length:
        side = Side(start=at[edge.start], end=at[edge.end], outward=outward_of(roof, edge))
        if not label_edge(labels, edge, side, occupied, metric=metric):
            listed.append(edge)
    draw_frame(root, roof, sheet, title=title, metric=metric)
    draw_column(root, roof, sheet, listed, metric=metric)
    ET.indent(root, " ")
    return ET.tostring(root, encoding="unicode", xml_declaration=False) + "\n"
