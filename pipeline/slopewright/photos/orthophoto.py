"""A plane seen square on, at a stated scale, from the photos that see it best.  Metres; pixels."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from ..roof import Plane, Roof
from ..scene import Array, lock
from ..units import FOOT_M
from .model import PosedPhoto
from .pairs import in_frame
from .sight import Faces

Picture = npt.NDArray[np.uint8]

SCALES = (200, 100, 50, 25, 20, 10, 5)  # pixels per metre that are used
LONG_SIDE_PX = 1200
MARGIN_M = 0.4  # shown round the plane
LEVEL_DEG = 2.0  # flatter planes have north at the top
MOST_PHOTOS = 5  # of which each pixel is the median: what stands over the plane leans away in some
COARSE_PX = 8  # between spots at which it is asked what hides the plane
STRIP_PX = 46  # below the picture, for scale and caption
FONT = cv2.FONT_HERSHEY_SIMPLEX


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """The lie of an orthophoto: its pixels are at corner + x / scale right - y / scale up."""

    plane: int
    corner: Array  # (3,) [m] of the first pixel's centre
    right: Array  # (3,) unit, along the contour
    up: Array  # (3,) unit, up the slope; north on level planes
    size_px: tuple[int, int]
    px_per_m: int
    top: str  # what is at the top

    def __post_init__(self) -> None:
        lock(self.corner, self.right, self.up)

    def spots(self, step: int = 1) -> Array:
        """World points of every `step`-th pixel, shape (h, w, 3)."""
        x = np.arange(0, self.size_px[0], step) / self.px_per_m
        y = np.arange(0, self.size_px[1], step) / self.px_per_m
        return np.asarray(self.corner + x[None, :, None] * self.right - y[:, None, None] * self.up)

    def pixels(self, xyz: Array) -> Array:
        """Where points (n, 3) of the plane are in the picture."""
        away = (xyz - self.corner) * self.px_per_m
        return np.column_stack([away @ self.right, -(away @ self.up)])


def sheet_of(roof: Roof, index: int, pixel_m: float) -> Sheet:
    """Lay out the orthophoto of a plane whose photos have pixels of a size."""
    plane = roof.planes[index]
    level = plane.pitch_deg.value < LEVEL_DEG
    north = np.array([0.0, 1.0, 0.0])
    ahead = north if level else np.array([-plane.normal[0], -plane.normal[1], 0.0])
    up = ahead - (ahead @ plane.normal) * plane.normal
    up = up / np.linalg.norm(up)
    right = np.cross(up, plane.normal)
    ring = roof.ring(plane.loops[0])
    u, v = ring @ right, ring @ up
    low = np.array([u.min(), v.min()]) - MARGIN_M
    high = np.array([u.max(), v.max()]) + MARGIN_M
    wanted = min(1 / pixel_m, LONG_SIDE_PX / float((high - low).max()))
    px_per_m = next((scale for scale in SCALES if scale <= wanted), SCALES[-1])
    size = np.ceil((high - low) * px_per_m).astype(int) + 1
    base = plane.normal * plane.offset
    corner = base + (low[0] - base @ right) * right + (high[1] - base @ up) * up
    return Sheet(
        plane=index,
        corner=corner,
        right=right,
        up=up,
        size_px=(int(size[0]), int(size[1])),
        px_per_m=px_per_m,
        top="north" if level else "up the slope",
    )


def taken(sheet: Sheet, photo: PosedPhoto, pixels: Picture, faces: Faces) -> npt.NDArray[np.float32]:
    """One photo's pixels on a sheet, not a number where it does not see the plane."""
    spots = sheet.spots()
    h, w = spots.shape[:2]
    at = photo.project(spots.reshape(-1, 3)).reshape(h, w, 2)
    seen = in_frame(photo, spots.reshape(-1, 3)).reshape(h, w)
    coarse = sheet.spots(COARSE_PX)
    hidden = faces.hide(photo.centre, coarse.reshape(-1, 3), sheet.plane).reshape(coarse.shape[:2])
    whole = np.repeat(np.repeat(hidden, COARSE_PX, axis=0), COARSE_PX, axis=1)[:h, :w]
    # A sheet coarser than the photo: the mean of a pixel's area, not one spot of it.
    pixel = np.linalg.norm(np.nanmedian(at[1:, :] - at[:-1, :], axis=(0, 1)))
    shrink = min(1.0, 1.0 / max(float(pixel), 1e-6))
    if shrink < 0.75:
        pixels = np.asarray(
            cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.uint8
        )
        scale = np.array(pixels.shape[1::-1]) / [photo.camera.width_px, photo.camera.height_px]
        at = (at + 0.5) * scale - 0.5
    maps = np.nan_to_num(at, nan=-1e4).astype(np.float32)
    found = cv2.remap(
        pixels, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    ).astype(np.float32)
    found[~seen | whole] = np.nan
    return np.asarray(found, dtype=np.float32)


def blended(parts: list[npt.NDArray[np.float32]]) -> npt.NDArray[np.float32]:
    """The median of photos that were brought to one brightness."""
    means = np.array([np.nanmean(part) if np.isfinite(part).any() else np.nan for part in parts])
    gain = np.nanmean(means) / means
    stack = np.stack([part * np.float32(g) for part, g in zip(parts, gain, strict=True)])
    empty = np.isnan(stack).all(axis=0)
    stack[:, empty] = 255.0  # white where no photo sees the plane
    return np.asarray(np.nanmedian(stack, axis=0), dtype=np.float32)


def finished(sheet: Sheet, picture: npt.NDArray[np.float32], roof: Roof) -> Picture:
    """The orthophoto with the plane's outline, a strip with a scale bar, and what is at the top."""
    plane = roof.planes[sheet.plane]
    image = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    for loop in plane.loops:
        ring = np.rint(sheet.pixels(roof.ring(loop)) * 16).astype(np.int32)
        cv2.polylines(image, [ring], True, (255, 255, 255), 3, cv2.LINE_AA, 4)
        cv2.polylines(image, [ring], True, (0, 0, 0), 1, cv2.LINE_AA, 4)
    for thing in roof.objects:
        if thing.plane == plane.id:
            x, y = np.rint(sheet.pixels(np.array([thing.position]))[0]).astype(int)
            cv2.putText(image, thing.id, (int(x) - 8, int(y) + 5), FONT, 0.5, (255, 255, 255), 1, cv2.LINE_AA)
    width = max(image.shape[1], 420)
    framed = np.full((image.shape[0] + STRIP_PX, width, 3), 255, np.uint8)
    framed[: image.shape[0], : image.shape[1]] = image
    _strip(framed[image.shape[0] :], sheet, plane)
    return framed


def _strip(strip: Picture, sheet: Sheet, plane: Plane) -> None:
    """Bars of a round number of metres and of feet, and the caption."""
    left = 10
    for unit_m, unit, y in ((1.0, "m", 14), (FOOT_M, "ft", 34)):
        most = min(150.0, strip.shape[1] / 3) / (sheet.px_per_m * unit_m)
        n = max((k for k in (1, 2, 5, 10, 20, 50) if k <= most), default=1)
        right = left + round(n * unit_m * sheet.px_per_m)
        cv2.rectangle(strip, (left, y - 3), (right, y + 3), (0, 0, 0), -1)
        cv2.putText(strip, f"{n} {unit}", (right + 6, y + 5), FONT, 0.45, (0, 0, 0), 1, cv2.LINE_AA)
    text = f"plane {plane.id}, {sheet.px_per_m} px per m"
    cv2.putText(strip, text, (strip.shape[1] - 205, 19), FONT, 0.45, (0, 0, 0), 1, cv2.LINE_AA)
    cv2.putText(strip, f"top: {sheet.top}", (strip.shape[1] - 205, 38), FONT, 0.45, (0, 0, 0), 1, cv2.LINE_AA)
    cv2.arrowedLine(
        strip, (strip.shape[1] - 14, 40), (strip.shape[1] - 14, 6), (0, 0, 0), 2, cv2.LINE_AA, 0, 0.3
    )
