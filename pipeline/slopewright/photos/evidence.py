"""Pictures that let a person check the roof: planes and edges over photos, and each plane seen square on.

Files for `photos/` of the run folder; photos/index.json says what each shows.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from ..roof import Roof
from ..scene import Array, lock
from .model import Block
from .objects import FoundObject
from .orthophoto import MOST_PHOTOS, blended, finished, sheet_of, taken
from .overlay import Looks, draw_over, faces_of
from .pairs import in_frame
from .read import load_pixels
from .sight import Faces

FOLDER = "photos"
INDEX_FILE = f"{FOLDER}/index.json"
SPOTS = 60  # of a plane, that are asked for
LEAST_SEEN = 0.25  # share of a plane's spots that a photo must see to show it
GOOD_ENOUGH = 0.6  # of the best photo's worth: one photo then shows several planes
MOST_OVERLAYS = 8
QUALITY = 82  # of JPEG


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Worth:
    """How well each photo sees each plane."""

    pixels: Array  # (planes, photos) pixels per square metre, times the share that is seen
    pixel_m: Array  # (planes, photos) side of a pixel on the plane

    def __post_init__(self) -> None:
        lock(self.pixels, self.pixel_m)


def run(block: Block, roof: Roof, looks: Looks, things: tuple[FoundObject, ...] = ()) -> dict[str, bytes]:
    """Overlays and orthophotos of a roof.

    Parameters
    ----------
    block : Block
    roof : Roof
        In the block's frame.
    looks : Looks
        Colours and strokes of the other drawings.
    things : tuple of FoundObject, optional
        What stands on the roof, for the index.

    Returns
    -------
    dict
        Contents by path below the run folder.
    """
    faces = faces_of(roof)
    worth = _worths(block, roof, faces)
    chosen = _overlays(worth.pixels)
    best = [_best(row) for row in worth.pixels]
    sheets = {
        n: sheet_of(roof, n, float(np.median(worth.pixel_m[n, photos])))
        for n, photos in enumerate(best)
        if len(photos)
    }
    parts: dict[int, list[npt.NDArray[np.float32]]] = {n: [] for n in sheets}
    files: dict[str, bytes] = {}
    entries: list[dict[str, Any]] = []
    for i, photo in enumerate(block.photos):
        wanted = [n for n in sheets if i in best[n]]
        if not wanted and i not in chosen:
            continue
        pixels = load_pixels(photo.path)
        for n in wanted:
            parts[n].append(taken(sheets[n], photo, pixels, faces))
        if i in chosen:
            name = f"{FOLDER}/over_{len(entries) + 1}.jpg"
            files[name] = _jpeg(draw_over(photo, pixels, roof, faces, looks))
            shown = [roof.planes[n].id for n in np.flatnonzero(worth.pixels[:, i] > 0)]
            entries.append({"file": name, "shows": "planes and edges", "photo": photo.name, "planes": shown})
    for n, sheet in sheets.items():
        plane = roof.planes[n].id
        name = f"{FOLDER}/plane_{plane}.jpg"
        files[name] = _jpeg(finished(sheet, blended(parts[n]), roof))
        entries.append(
            {
                "file": name,
                "shows": "plane square on",
                "planes": [plane],
                "px_per_m": sheet.px_per_m,
                "top": sheet.top,
                "from": [block.photos[i].name for i in best[n]],
            }
        )
    unseen = [plane.id for n, plane in enumerate(roof.planes) if n not in sheets]
    index = {
        "format": "slopewright-photos",
        "version": 1,
        "files": entries,
        "not_seen": unseen,
        "objects": [
            {
                "id": found.thing.id,
                "kind": found.thing.kind,
                "plane": found.thing.plane,
                "confidence": found.confidence,
                "height_m": round(found.height_m, 2),
            }
            for found in things
        ],
    }
    files[INDEX_FILE] = (json.dumps(index, indent=1, ensure_ascii=False) + "\n").encode()
    return files


def _worths(block: Block, roof: Roof, faces: Faces) -> _Worth:
    """Every photo's view of every plane, by spots spread over it."""
    pixels = np.zeros((len(roof.planes), len(block.photos)))
    pixel_m = np.full(pixels.shape, np.nan)
    for n, plane in enumerate(roof.planes):
        xyz = _spots(faces, n, plane.normal, plane.offset)
        level = np.cross([0.0, 0.0, 1.0], plane.normal)
        level = level / np.linalg.norm(level) if np.linalg.norm(level) > 1e-9 else np.array([1.0, 0.0, 0.0])
        other = np.cross(plane.normal, level)
        for i, photo in enumerate(block.photos):
            seen = in_frame(photo, xyz) & ((photo.centre - xyz) @ plane.normal > 0)
            if seen.any():
                seen[seen] = ~faces.hide(photo.centre, xyz[seen], n)
            if np.count_nonzero(seen) < LEAST_SEEN * len(xyz):
                continue
            middle = xyz[seen]
            steps = [photo.project(middle + 0.1 * way) - photo.project(middle) for way in (level, other)]
            area = np.abs(steps[0][:, 0] * steps[1][:, 1] - steps[0][:, 1] * steps[1][:, 0]) / 0.01
            pixels[n, i] = np.nanmedian(area) * np.count_nonzero(seen) / len(xyz)
            pixel_m[n, i] = 1 / np.sqrt(max(float(np.nanmedian(area)), 1e-9))
    return _Worth(pixels=pixels, pixel_m=pixel_m)


def _spots(faces: Faces, face: int, normal: Array, offset: float) -> Array:
    """Spots spread evenly over a face, on its plane."""
    x0, y0, x1, y1 = faces.outlines[face].bounds
    for n in (12, 24, 48):
        xx, yy = np.meshgrid(
            x0 + (np.arange(n) + 0.5) / n * (x1 - x0), y0 + (np.arange(n) + 0.5) / n * (y1 - y0)
        )
        xy = np.column_stack([xx.ravel(), yy.ravel()])
        xy = xy[faces.holds(face, xy)]
        if len(xy) >= SPOTS:
            break
    if len(xy) == 0:
        spot = faces.outlines[face].representative_point()
        xy = np.array([[spot.x, spot.y]])
    return np.column_stack([xy, (offset - xy @ normal[:2]) / normal[2]])


def _overlays(worth: Array) -> list[int]:
    """Few photos that together show each plane about as well as any, the one that adds most first."""
    best = worth.max(axis=1)
    good = (worth >= GOOD_ENOUGH * best[:, None]) & (worth > 0)
    missing = best > 0
    chosen: list[int] = []
    while missing.any() and len(chosen) < MOST_OVERLAYS:
        gain = [
            (int((good[:, i] & missing).sum()), float(worth[missing, i].sum())) for i in range(good.shape[1])
        ]
        i = max(range(len(gain)), key=lambda k: gain[k])
        chosen.append(i)
        missing &= ~good[:, i]
    return chosen


def _best(row: Array) -> list[int]:
    """The photos that see a plane best."""
    order = [int(i) for i in np.argsort(-row, kind="stable") if row[i] > 0]
    return order[:MOST_PHOTOS]


def _jpeg(picture: npt.NDArray[np.uint8]) -> bytes:
    bgr = cv2.cvtColor(picture, cv2.COLOR_RGB2BGR)
    return bytes(cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1])
