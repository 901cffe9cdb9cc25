"""What is written beside edges and objects: letter, length and id."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
from shapely import Polygon

from ...roof import Edge, Roof
from ..quantity import INFERRED, length_text
from ..text import shorten
from .placing import BESIDE_MM, Occupied, Side, Spot, place_beside, place_with_leader
from .sheet import Sheet
from .strokes import INFERRED_RADIUS_MM, STROKES
from .svg import INK, element, line, number, polyline, text, text_width

EDGE_SIZES_MM = (2.5, 2.2, 1.9)
KEY_SIZES_MM = (1.9, 1.6)  # of an id that stands for a length listed beside the drawing
ID_SHARE = 0.75  # size of an id beside its length
WORD_SPACE_EM = 0.35
OFF_OBJECT_MM = 0.4  # from an object to the foot of its leader


def label_edge(parent: ET.Element, edge: Edge, side: Side, occupied: Occupied, *, metric: bool) -> bool:
    """Letter, length and id of an edge; where only the id finds room, the length is to be listed: False."""
    shown = edge_length_text(edge, metric=metric)
    edge_id = shorten(edge.id, 6)
    parts = [(STROKES[edge.kind].letter, 1.0, "bold"), (shown, 1.0, ""), (edge_id, ID_SHARE, "")]
    width = sum(text_width(content, size) + WORD_SPACE_EM for content, size, _ in parts) - WORD_SPACE_EM
    stroke = STROKES[edge.kind]
    mark_mm = INFERRED_RADIUS_MM if edge.observed < INFERRED else 0.0
    beside = BESIDE_MM + max(mark_mm, stroke.double_mm, stroke.ticks_mm)
    spot = place_beside(occupied, side, width, EDGE_SIZES_MM, beside_mm=beside)
    spot = spot or place_with_leader(occupied, side, width, EDGE_SIZES_MM[-1])
    if spot is not None:
        _write(element(parent, "g", class_="length", data_id=edge.id), spot, parts)
        return True
    width = text_width(edge_id, 1.0)
    spot = place_beside(occupied, side, width, KEY_SIZES_MM, beside_mm=beside)
    spot = spot or place_with_leader(occupied, side, width, KEY_SIZES_MM[-1])
    if spot is not None:
        _write(element(parent, "g", class_="key", data_id=edge.id), spot, [(edge_id, 1.0, "")])
    return False


def edge_length_text(edge: Edge, *, metric: bool) -> str:
    """An edge's length, in brackets where less than half of it was seen."""
    length = length_text(edge.length.value, metric=metric)
    return f"({length})" if edge.observed < INFERRED else length


def draw_objects(root: ET.Element, roof: Roof, sheet: Sheet, occupied: Occupied) -> None:
    """Chimneys, vents and the like: a crossed box of their size, turned as the plane lies."""
    planes = {plane.id: plane for plane in roof.planes}
    group = element(root, "g", id="objects")
    for thing in roof.objects:
        normal = planes[thing.plane].normal
        steepness = float(np.hypot(normal[0], normal[1]))
        down = normal[:2] / steepness if steepness > 1e-9 else np.array([0.0, -1.0])
        across = np.array([-down[1], down[0]])
        u, v = across * thing.size[0] / 2, down * thing.size[1] / 2 * float(normal[2])
        corners = sheet.place(np.array(thing.position[:2]) + np.array([u + v, u - v, -u - v, -u + v]))
        made = element(group, "g", class_="object", data_id=thing.id, data_kind=thing.kind)
        element(made, "path", d=polyline(corners, closed=True), fill="white", stroke=INK, stroke_width=0.2)
        for a, b in ((0, 2), (1, 3)):
            line(made, corners[a], corners[b], 0.12)
        occupied.take(Polygon(corners))
        name = shorten(f"{thing.id} {thing.kind}", 16)
        foot = corners[np.argmax(corners[:, 0])] + [OFF_OBJECT_MM, 0.0]
        side = Side(start=foot, end=foot, outward=np.array([1.0, 0.0]))
        spot = place_with_leader(occupied, side, text_width(name, 1.0), EDGE_SIZES_MM[-1])
        if spot is not None:
            _write(made, spot, [(name, 1.0, "")])


def _write(group: ET.Element, spot: Spot, parts: list[tuple[str, float, str]]) -> None:
    """Text at a spot, its parts of their own sizes, with its leader."""
    if spot.leader is not None:
        foot, end = spot.leader
        line(group, foot, end, 0.13)
        element(group, "circle", cx=foot[0], cy=foot[1], r=0.3)
    x, y = spot.middle
    turn = (
        {"transform": f"rotate({number(spot.angle_deg)} {number(x)} {number(y)})"} if spot.angle_deg else {}
    )
    made = text(
        group,
        x,
        y + 0.36 * spot.size_mm,
        "",
        spot.size_mm,
        text_anchor="middle",
        xml_space="preserve",
        **turn,
    )
    for content, size, weight in parts:
        bold = {"font_weight": weight} if weight else {}
        span = element(made, "tspan", font_size=size * spot.size_mm, **bold)
        span.text = content
        span.tail = " "
