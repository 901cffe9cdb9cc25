"""What is written inside a plane: its letter, pitch and area, and the arrow down its slope."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely import LineString, Polygon

from ...roof import Plane
from ...scene import Array
from ..quantity import SQUARE_FEET, SQUARE_METRES, angle_text, rise_text
from ..text import shorten
from .placing import Occupied, inner_points, text_box
from .strokes import draw_arrow
from .svg import BOLD, element, text, text_width

ARROW_LENGTHS_MM = (9.0, 6.5, 4.5, 3.0)
PLANE_SIZES_MM = ((4.6, 2.6), (3.8, 2.2), (3.0, 1.9))  # of the letter and of what stands below it
LETTER_SIZES_MM = (3.6, 2.8, 2.2, 1.7)  # of a letter alone
ROOM_MM = (4.0, 3.4)  # kept free between a whole label and the outline, for the lengths along it
LETTER_ROOM_MM = (2.0, 1.0, 0.3)
LINE_HEIGHT = 1.25
MOST_TRIES = 400  # places tried
LEVEL = 0.01  # slope below which no arrow is drawn, half a degree
SMALLEST_MM2 = 4.0  # a face on the sheet with less has no room for a letter


def label_plane(root: ET.Element, plane: Plane, face: Polygon, occupied: Occupied, *, metric: bool) -> None:
    """Letter, pitch and area where they fit inside the plane, else the letter alone, and an arrow."""
    pitch = angle_text(plane.pitch_deg.value) if metric else rise_text(plane.rise_in_12.value)
    unit = SQUARE_METRES if metric else SQUARE_FEET
    area = f"{plane.area.value / unit.si:,.{unit.decimals}f} {unit.name}"
    blocks = [[(_letter(plane), big), (pitch, small), (area, small)] for big, small in PLANE_SIZES_MM]
    _label(root, plane, face, occupied, blocks + _letters(plane))


def letter_plane(root: ET.Element, plane: Plane, face: Polygon, occupied: Occupied) -> None:
    """The letter alone, and an arrow."""
    _label(root, plane, face, occupied, _letters(plane))


def _letter(plane: Plane) -> str:
    return shorten(plane.id, 6)


def _letters(plane: Plane) -> list[list[tuple[str, float]]]:
    return [[(_letter(plane), size)] for size in LETTER_SIZES_MM]


def _label(
    root: ET.Element,
    plane: Plane,
    face: Polygon,
    occupied: Occupied,
    blocks: list[list[tuple[str, float]]],
) -> None:
    if face.area < SMALLEST_MM2:
        return
    points = inner_points(face, 1.0)
    group = element(root, "g", class_="plane-label", data_id=plane.id)
    taken = None
    for block in blocks:
        taken = _place_block(block, face, points, occupied)
        if taken is not None:
            _write_block(group, block, taken)
            break
    _place_arrow(group, plane, face, points, taken, occupied)


def _place_block(
    block: list[tuple[str, float]], face: Polygon, points: Array, occupied: Occupied
) -> Array | None:
    width = max(
        text_width(content, size) * (BOLD if i == 0 else 1.0) for i, (content, size) in enumerate(block)
    )
    height = sum(LINE_HEIGHT * size for _, size in block)
    rooms = ROOM_MM if len(block) > 1 else LETTER_ROOM_MM
    for room in rooms:
        inside = face.buffer(-room)
        if inside.is_empty:
            continue
        shapely.prepare(inside)
        for middle in points[shapely.contains_xy(inside, points[:, 0], points[:, 1])][:MOST_TRIES]:
            box = text_box(middle, width, height)
            if inside.contains(box) and occupied.is_free(box):
                occupied.take(box)
                found: Array = middle
                return found
    return None


def _write_block(group: ET.Element, block: list[tuple[str, float]], middle: Array) -> None:
    y = middle[1] - sum(LINE_HEIGHT * size for _, size in block) / 2
    for i, (content, size) in enumerate(block):
        y += LINE_HEIGHT * size
        weight = {"font_weight": "bold"} if i == 0 else {}
        text(group, middle[0], y - 0.3 * size, content, size, text_anchor="middle", **weight)


def _place_arrow(
    group: ET.Element, plane: Plane, face: Polygon, points: Array, label: Array | None, occupied: Occupied
) -> None:
    """The arrow down the slope, near the plane's label, where it crosses nothing."""
    down = np.array([plane.normal[0], -plane.normal[1]])
    steepness = float(np.hypot(*down))
    if steepness < LEVEL:
        return
    down = down / steepness
    near = points[:MOST_TRIES]
    if label is not None:
        near = near[np.argsort(np.hypot(*(near - label).T), kind="stable")]
    for length in ARROW_LENGTHS_MM:
        for middle in near:
            tail, tip = middle - length / 2 * down, middle + length / 2 * down
            box = LineString([tail, tip]).buffer(0.9, cap_style="flat")
            if face.contains(box) and occupied.is_free(box):
                occupied.take(box)
                draw_arrow(group, tail, tip)
                return
