"""Where text goes so that it covers nothing: the first place of a list of good ones that is still free."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from ...scene import Array

CLEARANCE_MM = 0.35  # round every text
BESIDE_MM = 1.0  # from an edge's axis to the text beside it
ALONG = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)  # of the edge's length, the middle first
LEADER_RADII_MM = (5.0, 7.0, 9.0, 11.0, 13.0, 15.0)
LEADER_TURNS = 16
DEEP_MM = 9.0  # from the outline; deeper is no better
OFF_PENALTY = 0.15  # depth that a place may lose to be 1 mm nearer to the middle


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """A place for a line of text: its middle, its turn on the sheet, its size, its leader if it needs one."""

    middle: Array  # (2,) mm
    angle_deg: float  # clockwise on the sheet
    size_mm: float
    leader: tuple[Array, Array] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Side:
    """An edge on the sheet and the side to write on if there is a choice."""

    start: Array  # (2,) mm
    end: Array
    outward: Array  # (2,) unit


class Occupied:
    """What already stands on the sheet."""

    def __init__(self, field: tuple[float, float, float, float], lines: list[LineString]) -> None:
        self._field = field  # left, top, right, bottom [mm]: where text may stand at all
        self._lines = _Pile(lines)
        self._texts = _Pile([])
        self._leaders = _Pile([])

    def is_free(self, box: Polygon) -> bool:
        """Whether a box with its clearance lies in the field and covers no text, leader or line."""
        left, top, right, bottom = box.bounds
        if left < self._field[0] or top < self._field[1] or right > self._field[2] or bottom > self._field[3]:
            return False
        return not (self._texts.meets(box) or self._leaders.meets(box) or self._lines.meets(box))

    def leader_is_free(self, leader: LineString) -> bool:
        """Whether a leader crosses no text and no other leader; lines it may cross."""
        return not (self._texts.meets(leader) or self._leaders.meets(leader))

    def take(self, box: Polygon, leader: tuple[Array, Array] | None = None) -> None:
        """Mark a place as used."""
        self._texts.add(box)
        if leader is not None:
            self._leaders.add(LineString(leader))


class _Pile:
    """Shapes and their bounds, so that most are ruled out by four comparisons."""

    def __init__(self, shapes: list[LineString]) -> None:
        self._shapes: list[BaseGeometry] = list(shapes)
        self._bounds = [shape.bounds for shape in shapes]

    def add(self, shape: BaseGeometry) -> None:
        self._shapes.append(shape)
        self._bounds.append(shape.bounds)

    def meets(self, shape: BaseGeometry) -> bool:
        left, top, right, bottom = shape.bounds
        return any(
            b[0] <= right and b[2] >= left and b[1] <= bottom and b[3] >= top and other.intersects(shape)
            for b, other in zip(self._bounds, self._shapes, strict=True)
        )


def text_box(middle: Array, width: float, height: float, angle_deg: float = 0.0) -> Polygon:
    """The rectangle of a text on the sheet."""
    angle = np.deg2rad(angle_deg)
    along = np.array([np.cos(angle), np.sin(angle)]) * width / 2
    down = np.array([-np.sin(angle), np.cos(angle)]) * height / 2
    corners = (middle - along - down, middle + along - down, middle + along + down, middle - along + down)
    box: Polygon = shapely.polygons(np.array(corners))  # a tenth of the time of Polygon(corners)
    return box


def place_beside(
    occupied: Occupied, side: Side, width_em: float, sizes: tuple[float, ...], *, beside_mm: float = BESIDE_MM
) -> Spot | None:
    """Place a text beside an edge, or None where there is no room.

    Parameters
    ----------
    occupied : Occupied
        Gets the place that is taken.
    side : Side
        The edge.
    width_em : float
        Width of the text in units of its size.
    sizes : tuple of float
        Sizes of type to try, the best first [mm].
    beside_mm : float
        From the edge's axis to the text.
    """
    return _first_free(occupied, _beside(side, width_em, sizes, beside_mm), width_em)


def place_with_leader(occupied: Occupied, side: Side, width_em: float, size_mm: float) -> Spot | None:
    """Place a text near an edge, tied to its middle by a leader, or None where there is no room."""
    return _first_free(occupied, _led(side, width_em, size_mm), width_em)


def _first_free(occupied: Occupied, spots: Iterator[Spot], width_em: float) -> Spot | None:
    for spot in spots:
        box = text_box(
            spot.middle,
            width_em * spot.size_mm + 2 * CLEARANCE_MM,
            spot.size_mm + 2 * CLEARANCE_MM,
            spot.angle_deg,
        )
        if not occupied.is_free(box):
            continue
        if spot.leader is not None and not occupied.leader_is_free(LineString(spot.leader)):
            continue
        occupied.take(box, spot.leader)
        return spot
    return None


def _beside(side: Side, width_em: float, sizes: tuple[float, ...], beside_mm: float) -> Iterator[Spot]:
    across = side.end - side.start
    length = float(np.hypot(*across))
    angle = float(np.rad2deg(np.arctan2(across[1], across[0])))
    angle = (angle + 90.0) % 180.0 - 90.0  # readable from below or from the right
    for size in sizes:
        for share in ALONG:
            if abs(share - 0.5) * length + width_em * size / 2 > length / 2:
                continue
            for way in (side.outward, -side.outward):
                middle = side.start + share * across + (beside_mm + size / 2) * way
                yield Spot(middle=middle, angle_deg=angle, size_mm=size)


def _led(side: Side, width_em: float, size_mm: float) -> Iterator[Spot]:
    foot = (side.start + side.end) / 2
    first = float(np.arctan2(side.outward[1], side.outward[0]))
    half = width_em * size_mm / 2
    for radius in LEADER_RADII_MM:
        for i in range(LEADER_TURNS):
            turn = first + (i + 1) // 2 * (-1) ** i * 2 * np.pi / LEADER_TURNS
            tip = foot + radius * np.array([np.cos(turn), np.sin(turn)])
            reach = half + CLEARANCE_MM + 0.3
            middle = tip + np.array([reach if np.cos(turn) >= 0 else -reach, 0.0])
            yield Spot(middle=middle, angle_deg=0.0, size_mm=size_mm, leader=(foot, tip))


def inner_points(face: Polygon, step_mm: float) -> Array:
    """Points inside a face on a grid, shape (n, 2), the deep ones near its middle first."""
    left, top, right, bottom = face.bounds
    step = max(step_mm, (right - left) / 40, (bottom - top) / 40)
    x, y = np.meshgrid(np.arange(left + step / 2, right, step), np.arange(top + step / 2, bottom, step))
    deepest = shapely.maximum_inscribed_circle(face, tolerance=0.2).coords[0]
    grid = np.vstack([[deepest], np.column_stack([x.ravel(), y.ravel()])])
    points = shapely.points(grid)
    inside = shapely.contains(face, points)
    depth = np.minimum(shapely.distance(face.boundary, points), DEEP_MM)
    off = np.hypot(*(grid - np.array(face.centroid.coords[0])).T)
    order = np.argsort((OFF_PENALTY * off - depth)[inside], kind="stable")
    found: Array = grid[inside][order]
    return found
