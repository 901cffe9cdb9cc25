"""The roof itself on a sheet: fills of planes, lines of edges, and what is seen of each plane from above."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely import Polygon

from ...roof import Edge, Plane, Roof
from ...scene import Array
from ..colour import css_colour
from ..quantity import INFERRED
from .strokes import STROKES, draw_edge, draw_inferred
from .svg import INK, element, polyline


def draw_edges(root: ET.Element, roof: Roof, at: Array) -> None:
    """Draw all edges; `at` are the roof's vertices on the sheet, shape (v, 2) [mm]."""
    group = element(root, "g", id="edges", stroke_linecap="butt")
    for edge in sorted(roof.edges, key=_draw_order):
        _draw_edge(group, roof, edge, at)


def draw_patterns(root: ET.Element) -> None:
    """Define the hatching of inferred planes."""
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


def draw_planes(root: ET.Element, roof: Roof, at: Array) -> None:
    """Draw fills, the lower planes first: where one lies over another, the upper is seen."""
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


def outward_of(roof: Roof, edge: Edge) -> Array:
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
    draw_edge(group, edge.kind, start, end, outward_of(roof, edge))
    if edge.observed < INFERRED:
        draw_inferred(group, (start + end) / 2)


def visible_faces(roof: Roof, at: Array) -> dict[str, Polygon]:
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
