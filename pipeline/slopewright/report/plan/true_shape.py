"""One plane in its true shape, as it lies before a person who stands below it: up the slope is up.

Every side has its kind and length; what finds no room beside it is told to the caller.
"""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely import LineString, Polygon

from ...geometry.planeframe import plane_frame
from ...roof import Edge, Plane, Roof
from ...scene import Array
from ..colour import css_colour
from ..quantity import INFERRED
from .edge_labels import edge_length_text, label_edge
from .faces import draw_patterns
from .placing import Occupied, Side, inner_points, text_box
from .sheet import ruler_scale
from .strokes import STROKES, draw_arrow, draw_edge, draw_inferred
from .svg import BOLD, element, figure, polyline, text, text_width

LABEL_ROOM_MM = 10.0  # round the shape
LETTER_MM = 4.2
ARROW_MM = 7.0
LEVEL = 0.01  # slope below which no arrow is drawn


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueShape:
    """The drawing of one plane."""

    svg: str
    width_mm: float
    height_mm: float
    scale: int  # 1 : scale
    listed: tuple[str, ...]  # lengths for which there was no room: "e7 R 3' 2\""


def true_shape(roof: Roof, plane: Plane, most_mm: tuple[float, float], *, metric: bool) -> TrueShape:
    """Draw one plane at the largest ruler's scale at which it fits a box.

    Parameters
    ----------
    roof : Roof
    plane : Plane
        Of that roof.
    most_mm : (float, float)
        Width and height of the box.
    metric : bool
        Metres instead of feet and inches.
    """
    corners = _in_plane(roof, plane)
    points = np.array(list(corners.values()))
    low, size = points.min(axis=0), np.maximum(np.ptp(points, axis=0), 1e-6)
    room_m = (np.array(most_mm) - 2 * LABEL_ROOM_MM) / 1000
    scale, _ = ruler_scale(float((size / room_m).max()), metric=metric)
    width, height = size * 1000 / scale + 2 * LABEL_ROOM_MM
    width = most_mm[0]
    start = np.array([(width - size[0] * 1000 / scale) / 2, height - LABEL_ROOM_MM])
    at = {row: start + (point - low) * np.array([1.0, -1.0]) * 1000 / scale for row, point in corners.items()}

    root = figure(float(width), float(height))
    draw_patterns(root)
    rings = [np.array([at[row] for row in loop]) for loop in plane.loops]
    path = " ".join(polyline(ring, closed=True) for ring in rings)
    element(root, "path", d=path, fill=css_colour(plane.pitch_deg.value), fill_rule="evenodd")
    if plane.observed < INFERRED:
        element(root, "path", d=path, fill="url(#inferred)", fill_rule="evenodd", opacity=0.35)
    sides = list(_sides(roof, plane, at))
    lines = [LineString([side.start, side.end]) for _, side in sides]
    occupied = Occupied((0.0, 0.0, float(width), float(height)), lines)
    for edge, side in sides:
        draw_edge(root, edge.kind, side.start, side.end, side.outward)
        if edge.observed < INFERRED:
            draw_inferred(root, (side.start + side.end) / 2)
    _draw_letter(root, plane, shapely.make_valid(Polygon(rings[0], rings[1:])), occupied)
    listed = [
        f"{edge.id} {STROKES[edge.kind].letter} {edge_length_text(edge, metric=metric)}"
        for edge, side in sorted(sides, key=lambda item: item[0].length.value)
        if not label_edge(root, edge, side, occupied, metric=metric)
    ]
    return TrueShape(
        svg=ET.tostring(root, encoding="unicode"),
        width_mm=float(width),
        height_mm=float(height),
        scale=scale,
        listed=tuple(listed),
    )


def _in_plane(roof: Roof, plane: Plane) -> dict[int, Array]:
    """The plane's corners in its own frame, along its contour and up its slope [m]."""
    frame = plane_frame(plane.normal)
    rows = sorted({row for loop in plane.loops for row in loop})
    return {row: frame @ roof.vertices[row] for row in rows}


def _sides(roof: Roof, plane: Plane, at: dict[int, Array]) -> list[tuple[Edge, Side]]:
    """The plane's edges with their places, each with its side away from the plane."""
    edges = {frozenset((edge.start, edge.end)): edge for edge in roof.edges if plane.id in edge.planes}
    found = []
    for loop in plane.loops:
        for a, b in zip(loop, (*loop[1:], loop[0]), strict=True):
            edge = edges.get(frozenset((a, b)))
            along = at[b] - at[a]
            length = float(np.hypot(*along))
            if edge is not None and length > 0:
                outward = np.array([-along[1], along[0]]) / length  # y runs down the sheet
                found.append((edge, Side(start=at[a], end=at[b], outward=outward)))
    return found


def _draw_letter(root: ET.Element, plane: Plane, face: Polygon, occupied: Occupied) -> None:
    """The plane's letter, with the way down its slope below it, in the roomiest spot."""
    parts = [part for part in shapely.get_parts(face) if isinstance(part, Polygon) and part.area > 1.0]
    if not parts:
        return
    width = text_width(plane.id, LETTER_MM) * BOLD
    for middle in inner_points(max(parts, key=lambda part: part.area), 1.0)[:200]:
        box = text_box(middle, max(width, 3.0), 1.2 * LETTER_MM)
        if face.contains(box) and occupied.is_free(box):
            text(
                root, middle[0], middle[1] + 0.36 * LETTER_MM, plane.id, LETTER_MM,
                text_anchor="middle", font_weight="bold",
            )  # fmt: skip
            occupied.take(box)
            tail = middle + np.array([0.0, 0.7 * LETTER_MM])
            tip = tail + np.array([0.0, ARROW_MM])
            arrow = LineString([tail, tip]).buffer(0.9, cap_style="flat")
            if np.hypot(*plane.normal[:2]) > LEVEL and face.contains(arrow) and occupied.is_free(arrow):
                occupied.take(arrow)
                draw_arrow(root, tail, tip)
            return
