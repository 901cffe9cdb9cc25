"""Planes and edges drawn over a photo: planes in the colour of their pitch, edges by stroke and letter."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from ..roof import Edge, Roof
from ..scene import Array, EdgeKind
from .model import PosedPhoto
from .pairs import in_frame
from .sight import Faces

Picture = npt.NDArray[np.uint8]
Colour = tuple[int, int, int]  # red, green, blue
Hidden = Callable[[Array], npt.NDArray[np.bool_]]  # which of the points (n, 3) are

LONG_SIDE_PX = 1600
MOST_ENLARGED = 2.0  # a small part of a photo, so that letters have room
TINT = 0.35  # of a plane's colour over the photo
STEP_M = 0.05  # along a line: lenses bend it, faces hide parts
PX_PER_MM = 5.0  # of the strokes: a line of 0.4 mm on the plan is 2 pixels here
INK, HALO = (0, 0, 0), (255, 255, 255)
HALO_PX = 2
FONT = cv2.FONT_HERSHEY_SIMPLEX


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """How a kind of edge is drawn."""

    letter: str
    width_mm: float
    dashes_mm: tuple[float, ...] = ()  # on, off, on, off ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Looks:
    """The look of the drawings elsewhere."""

    colour: Callable[[float], Colour]  # of a pitch [degrees]
    strokes: Mapping[EdgeKind, Stroke]


def faces_of(roof: Roof) -> Faces:
    """The roof's planes as things that hide others."""
    return Faces(
        normals=np.array([plane.normal for plane in roof.planes]),
        offsets=np.array([plane.offset for plane in roof.planes]),
        rings=[[roof.ring(loop)[:, :2] for loop in plane.loops] for plane in roof.planes],
    )


class Canvas:
    """A photo at the size at which it is drawn on, cut to the roof."""

    def __init__(self, photo: PosedPhoto, pixels: Picture, part: tuple[Array, Array]) -> None:
        low = np.maximum(np.floor(part[0]), 0).astype(int)
        high = np.minimum(np.ceil(part[1]) + 1, pixels.shape[1::-1]).astype(int)
        cut = pixels[low[1] : high[1], low[0] : high[0]]
        self.scale = min(MOST_ENLARGED, LONG_SIDE_PX / max(cut.shape[:2]))
        size = (max(round(cut.shape[1] * self.scale), 1), max(round(cut.shape[0] * self.scale), 1))
        self.photo, self.low = photo, low
        how = cv2.INTER_AREA if self.scale < 1 else cv2.INTER_CUBIC
        self.picture = np.asarray(cv2.resize(cut, size, interpolation=how), dtype=np.uint8)

    def at(self, xyz: Array) -> Array:
        """Pixels of the canvas, not a number out of the photo's frame."""
        pixels = np.full((len(xyz), 2), np.nan)
        held = in_frame(self.photo, xyz)
        pixels[held] = (self.photo.project(xyz[held]) - self.low + 0.5) * self.scale - 0.5
        return pixels

    def tint(self, rings: list[Array], colour: Colour) -> None:
        """A colour over an area; rings that leave the frame are left out."""
        found = [self.at(_dense(ring)) for ring in rings]
        if any(np.isnan(ring).any() for ring in found):
            found = [ring[~np.isnan(ring).any(axis=1)] for ring in found]
        if len(found[0]) < 3:
            return
        layer = self.picture.copy()
        cv2.fillPoly(layer, [_fixed(ring) for ring in found if len(ring) > 2], colour, cv2.LINE_AA, 4)
        self.picture = np.asarray(cv2.addWeighted(layer, TINT, self.picture, 1 - TINT, 0), dtype=np.uint8)

    def draw(self, start: Array, end: Array, stroke: Stroke, hidden: Hidden) -> None:
        """A line with its dashes on a halo, where nothing hides it."""
        n = max(int(np.linalg.norm(end - start) / STEP_M), 2)
        xyz = start + np.linspace(0, 1, n + 1)[:, None] * (end - start)
        at = self.at(xyz)
        shown = np.asarray(np.isfinite(at).all(axis=1))
        shown[shown] = ~hidden(xyz[shown])
        width = max(1, round(stroke.width_mm * PX_PER_MM))
        pieces = [np.stack([at[k], at[k + 1]]) for k in range(n) if shown[k] and shown[k + 1]]
        for piece in pieces:
            a, b = _ends(piece)
            cv2.line(self.picture, a, b, HALO, width + 2 * HALO_PX, cv2.LINE_AA, 4)
        for piece in _dashed(pieces, stroke.dashes_mm):
            a, b = _ends(piece)
            cv2.line(self.picture, a, b, INK, width, cv2.LINE_AA, 4)

    def write(self, text: str, at: Array, size: float, *, bold: bool = False) -> None:
        """A text about a spot."""
        thick = 3 if bold else 2
        (width, height), _ = cv2.getTextSize(text, FONT, size, thick)
        foot = (round(float(at[0]) - width / 2), round(float(at[1]) + height / 2))
        mask = np.zeros(self.picture.shape[:2], np.uint8)
        cv2.putText(mask, text, foot, FONT, size, 255, thick, cv2.LINE_AA)
        around = cv2.dilate(mask, np.ones((2 * HALO_PX + 1, 2 * HALO_PX + 1), np.uint8))
        for grey, cover in ((255.0, around), (0.0, mask)):
            share = cover[..., None].astype(np.float32) / 255
            self.picture = np.rint(self.picture * (1 - share) + grey * share).astype(np.uint8)


def draw_over(photo: PosedPhoto, pixels: Picture, roof: Roof, faces: Faces, looks: Looks) -> Picture:
    """A photo with the roof over it: what the photo sees of its planes, edges and their names."""
    seen = photo.project(roof.vertices[in_frame(photo, roof.vertices)])
    margin = 0.06 * float(np.ptp(seen, axis=0).max())
    canvas = Canvas(photo, pixels, (seen.min(axis=0) - margin, seen.max(axis=0) + margin))
    facing = [
        float((photo.centre - roof.ring(plane.loops[0]).mean(axis=0)) @ plane.normal) > 0
        for plane in roof.planes
    ]
    for plane, faced in zip(roof.planes, facing, strict=True):
        if faced:
            canvas.tint([roof.ring(loop) for loop in plane.loops], looks.colour(plane.pitch_deg.value))
    names = {plane.id: n for n, plane in enumerate(roof.planes)}
    for edge in roof.edges:
        if not any(facing[names[name]] for name in edge.planes):
            continue
        start, end = roof.vertices[edge.start], roof.vertices[edge.end]
        canvas.draw(start, end, looks.strokes[edge.kind], _hidden(photo, faces))
    for edge in roof.edges:
        if any(facing[names[name]] for name in edge.planes):
            _letter(canvas, roof, edge, looks, _hidden(photo, faces))
    for n, plane in enumerate(roof.planes):
        spot = _middle(faces, n, plane.normal, plane.offset)
        if facing[n] and not faces.hide(photo.centre, spot[None], n)[0]:
            at = canvas.at(spot[None])[0]
            if np.isfinite(at).all():
                canvas.write(plane.id, at, 1.3, bold=True)
    for thing in roof.objects:
        spot = np.array([thing.position])
        at = canvas.at(spot)[0]
        if facing[names[thing.plane]] and np.isfinite(at).all() and not faces.hide(photo.centre, spot)[0]:
            canvas.write(f"{thing.kind} {thing.id}", at, 0.5)
    return canvas.picture


def _letter(canvas: Canvas, roof: Roof, edge: Edge, looks: Looks, hidden: Hidden) -> None:
    """Letter of its kind and name beside the middle of an edge."""
    middle = (roof.vertices[edge.start] + roof.vertices[edge.end])[None] / 2
    at = canvas.at(middle)[0]
    if np.isfinite(at).all() and not hidden(middle)[0]:
        canvas.write(f"{looks.strokes[edge.kind].letter} {edge.id}", at, 0.55)


def _hidden(photo: PosedPhoto, faces: Faces) -> Hidden:
    return lambda xyz: faces.hide(photo.centre, xyz)


def _middle(faces: Faces, face: int, normal: Array, offset: float) -> Array:
    """A spot well inside a face, on its plane."""
    spot = faces.outlines[face].representative_point()
    centre = faces.outlines[face].centroid
    xy = np.array([[centre.x, centre.y]])
    if not faces.holds(face, xy)[0]:
        xy = np.array([[spot.x, spot.y]])
    return np.array([*xy[0], (offset - xy[0] @ normal[:2]) / normal[2]])


def _dense(ring: Array) -> Array:
    """A ring with points along its sides."""
    parts = []
    for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        n = max(int(np.linalg.norm(end - start) / (10 * STEP_M)), 1)
        parts.append(start + np.arange(n)[:, None] / n * (end - start))
    return np.vstack(parts)


def _fixed(ring: Array) -> npt.NDArray[np.int32]:
    """Pixels with four binary places, as the drawing routines take them."""
    return np.asarray(np.rint(ring * 16), dtype=np.int32)


def _ends(piece: Array) -> list[tuple[int, int]]:
    return [(int(x), int(y)) for x, y in _fixed(piece)]


def _dashed(pieces: list[Array], dashes_mm: tuple[float, ...]) -> list[Array]:
    """Short pieces of a line, or those of them that dashes leave."""
    if not dashes_mm:
        return pieces
    ends = np.cumsum(np.array(dashes_mm) * PX_PER_MM)
    gone, kept = 0.0, []
    for piece in pieces:
        if int(np.searchsorted(ends, gone % ends[-1], side="right")) % 2 == 0:
            kept.append(piece)
        gone += float(np.linalg.norm(piece[1] - piece[0]))
    return kept
