"""A picture of the building from above and aside: planes in the colour of their pitch, walls, visible edges.

Parallel projection; hidden parts by a depth buffer, which no order of faces can mislead.
"""

from __future__ import annotations

import base64
from collections import defaultdict
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ..roof import Roof, RoofBody, RoofMesh
from ..scene import Array
from .colour import css_colour
from .plan.svg import FONT, INK, element, number, text
from .png import indexed_png
from .text import shorten

ELEVATION_DEG = 38.0  # of the eye: roofs of up to 18 in 12 still show their far side's edges
N_DIRECTIONS = 16  # of the eye that are tried
WIDTH_PX, MOST_HEIGHT_PX = 1400, 1100  # 400 dots an inch on 88 mm
MARGIN_PX = 14
LINE_PX = 3
DEPTH_SLACK_M = 0.12  # a line is drawn where no face lies by more than this before it
STRAIGHT = 0.02  # sine of the angle below which two walls are one, a degree
WALL, PAPER = "#e9e9e6", "#ffffff"
LETTER_PX, LEAST_ROOM_PX = 44, 15  # size of a letter; the room round its middle that it needs
COARSE = 6  # pixels a step where room for letters is looked for
MOST_COLOURS = 253  # planes that have a colour of their own in a palette of 256
POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A picture and what it shows."""

    svg: str  # width and height of 100 by its proportion, holds the picture and the letters
    seen_from: str  # point of the compass


def draw_view(roof: Roof, mesh: RoofMesh) -> View:
    """Draw the building from the side on which most of its planes are seen well.

    Parameters
    ----------
    roof : Roof
    mesh : RoofMesh
        Of that roof.
    """
    azimuth = _best_azimuth(roof)
    canvas = _Canvas(np.vstack([mesh.vertices, mesh.body.vertices]), azimuth)
    colours = [PAPER, INK, WALL]
    for i, node in enumerate(mesh.nodes):
        plane = roof.planes[i]
        if len(colours) < MOST_COLOURS:
            colours.append(css_colour(plane.pitch_deg.value))
        canvas.fill(mesh.vertices[node.triangles], min(i + 3, MOST_COLOURS))
    canvas.fill(mesh.body.vertices[mesh.body.wall_triangles], 2)
    labels = _letters(roof, canvas.pixels)
    for edge in roof.edges:
        canvas.draw(roof.vertices[edge.start], roof.vertices[edge.end], LINE_PX)
    for start, end in _wall_lines(mesh.body):
        canvas.draw(start, end, 1)
    height, width = canvas.pixels.shape
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {width} {height}",
            "width": f"{number(width / 10)}",
            "height": f"{number(height / 10)}",
            "font-family": FONT,
        },
    )
    data = base64.b64encode(indexed_png(canvas.pixels, colours)).decode()
    element(root, "image", x=0, y=0, width=width, height=height, href=f"data:image/png;base64,{data}")
    for name, x, y in labels:
        text(
            root, x, y + 0.36 * LETTER_PX, name, LETTER_PX, text_anchor="middle", font_weight="bold", fill=INK
        )
    return View(
        svg=ET.tostring(root, encoding="unicode"), seen_from=POINTS[round(np.rad2deg(azimuth) / 45) % 8]
    )


def _towards_eye(azimuth: float) -> Array:
    tilt = np.deg2rad(ELEVATION_DEG)
    return np.array([np.sin(azimuth) * np.cos(tilt), np.cos(azimuth) * np.cos(tilt), np.sin(tilt)])


def _best_azimuth(roof: Roof) -> float:
    """Of the eye, clockwise from north: many planes seen at a fair size count more than one seen full."""
    tried = (np.arange(N_DIRECTIONS) + 0.5) * 2 * np.pi / N_DIRECTIONS

    def shown(azimuth: float) -> float:
        eye = _towards_eye(azimuth)
        sizes = (p.area.value * max(float(p.normal @ eye), 0.0) for p in roof.planes)
        return float(round(sum(size**0.5 for size in sizes), 6))

    southern = sorted(tried, key=lambda azimuth: float(np.cos(azimuth)))  # of equals one from the south
    return float(max(southern, key=shown))


class _Canvas:
    """Pixels and how near to the eye what they show is."""

    def __init__(self, points: Array, azimuth: float) -> None:
        eye = _towards_eye(azimuth)
        right = np.array([-np.cos(azimuth), np.sin(azimuth), 0.0])
        self._axes = np.array([right, -np.cross(eye, right), eye])  # right, down, towards the eye
        flat = points @ self._axes.T
        low, high = flat[:, :2].min(axis=0), flat[:, :2].max(axis=0)
        size = np.maximum(high - low, 1e-6)
        room = np.array([WIDTH_PX, MOST_HEIGHT_PX]) - 2 * MARGIN_PX
        self._per_m = float((room / size).min())
        self._low = low
        width, height = np.ceil(size * self._per_m).astype(int) + 2 * MARGIN_PX
        self.pixels: npt.NDArray[np.uint8] = np.zeros((height, width), dtype=np.uint8)
        self._nearness = np.full((height, width), -np.inf)

    def _place(self, points: Array) -> Array:
        """Column, row and nearness [m] of points, shape (..., 3)."""
        flat: Array = points @ self._axes.T
        flat[..., :2] = (flat[..., :2] - self._low) * self._per_m + MARGIN_PX
        return flat

    def fill(self, triangles: Array, colour: int) -> None:
        """Fill triangles, shape (t, 3, 3) [m]."""
        for a, b, c in self._place(triangles):
            x0, y0 = np.floor(np.min([a, b, c], axis=0)[:2]).astype(int)
            x1, y1 = np.ceil(np.max([a, b, c], axis=0)[:2]).astype(int) + 1
            x, y = np.arange(x0, x1) - a[0], (np.arange(y0, y1) - a[1])[:, None]
            (ux, uy, uz), (vx, vy, vz) = b - a, c - a
            twice = ux * vy - uy * vx
            if abs(twice) < 1e-9:
                continue
            s, t = (x * vy - y * vx) / twice, (y * ux - x * uy) / twice
            near = a[2] + s * uz + t * vz
            window = np.s_[y0:y1, x0:x1]
            shown = (s >= 0) & (t >= 0) & (s + t <= 1) & (near > self._nearness[window])
            self._nearness[window][shown] = near[shown]
            self.pixels[window][shown] = colour

    def draw(self, start: Array, end: Array, width_px: int) -> None:
        """Draw a line in ink where nothing hides it."""
        ends = self._place(np.array([start, end]))
        n = int(np.hypot(*(ends[1] - ends[0])[:2])) + 2
        x, y, near = (ends[0] + np.linspace(0, 1, n)[:, None] * (ends[1] - ends[0])).T
        column, row = np.rint(x).astype(int), np.rint(y).astype(int)
        hidden = self._nearness[row, column] > near + DEPTH_SLACK_M
        column, row = column[~hidden], row[~hidden]
        reach = range(-(width_px // 2), width_px // 2 + 1)
        for dx in reach:
            for dy in reach:
                self.pixels[row + dy, column + dx] = 1


def _wall_lines(body: RoofBody) -> list[tuple[Array, Array]]:
    """The outlines of walls, without the posts at which a wall only goes on in the same direction."""
    lines = []
    ways: dict[tuple[int, int], list[Array]] = defaultdict(list)  # of the walls at a post
    for surface in body.surfaces:
        if surface.kind == "wall":
            ring = surface.rings[0]
            across = np.ptp(body.vertices[list(ring), :2], axis=0)
            slant = body.vertices[ring[-1], :2] - body.vertices[ring[0], :2]
            way = across * np.sign(slant) / np.hypot(*across)
            for a, b in zip(ring, (*ring[1:], ring[0]), strict=True):
                if np.all(body.vertices[a, :2] == body.vertices[b, :2]):
                    ways[min(a, b), max(a, b)].append(way)
                else:
                    lines.append((body.vertices[a], body.vertices[b]))
    for (a, b), met in ways.items():
        if len(met) != 2 or abs(float(np.linalg.det(np.array(met)))) > STRAIGHT:
            lines.append((body.vertices[a], body.vertices[b]))
    return lines


def _letters(roof: Roof, pixels: npt.NDArray[np.uint8]) -> list[tuple[str, float, float]]:
    """A letter in the roomiest spot of each plane that has room for one: name, x, y [px]."""
    coarse = pixels[::COARSE, ::COARSE]
    found: list[tuple[str, float, float]] = []
    for i, plane in enumerate(roof.planes[: MOST_COLOURS - 3]):
        room = ndimage.distance_transform_edt(np.pad(coarse == i + 3, 1))
        row, column = np.unravel_index(int(np.argmax(room)), room.shape)
        if room[row, column] * COARSE >= LEAST_ROOM_PX:
            found.append((shorten(plane.id, 3), float(COARSE * (column - 1)), float(COARSE * (row - 1))))
    return found
