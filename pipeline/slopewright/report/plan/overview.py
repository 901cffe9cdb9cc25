"""A small plan for a page of text: planes with letter and way down, edges by their strokes; no numbers."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
from shapely import LineString

from ...roof import Roof
from .faces import draw_edges, draw_patterns, draw_planes, visible_faces
from .frame import draw_north
from .placing import Occupied
from .plane_labels import letter_plane
from .svg import element, figure

ROOM_MM = 2.0  # round the roof
NORTH_MM = 9.0  # kept free for the arrow, at the right


def overview_svg(roof: Roof, width_mm: float, height_mm: float) -> str:
    """Draw the plan as large as it fits a box, grid north up; the box is cut to the roof's height.

    Parameters
    ----------
    roof : Roof
    width_mm, height_mm : float
        The box.
    """
    xy = roof.vertices[:, :2]
    low, size = xy.min(axis=0), np.maximum(np.ptp(xy, axis=0), 1e-6)
    room = np.array([width_mm - NORTH_MM, height_mm]) - 2 * ROOM_MM
    per_m = float((room / size).min())
    height_mm = min(height_mm, float(size[1]) * per_m + 2 * ROOM_MM)
    left = (width_mm - NORTH_MM - float(size[0]) * per_m) / 2
    at = np.array([left, height_mm - ROOM_MM]) + (xy - low) * per_m * np.array([1.0, -1.0])

    root = figure(width_mm, height_mm)
    draw_patterns(root)
    draw_planes(root, roof, at)
    draw_edges(root, roof, at)
    lines = [LineString(at[[edge.start, edge.end]]) for edge in roof.edges]
    occupied = Occupied((0.0, 0.0, width_mm - NORTH_MM, height_mm), lines)
    faces = visible_faces(roof, at)
    for plane in sorted(roof.planes, key=lambda p: -p.area.value):
        letter_plane(root, plane, faces[plane.id], occupied)
    draw_north(element(root, "g"), width_mm - 3.0, 8.0)
    return ET.tostring(root, encoding="unicode")
