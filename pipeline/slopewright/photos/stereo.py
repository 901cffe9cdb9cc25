"""Depth of a photo's pixels from one other photo: rectified, sheared along a plane, matched semi-globally.

Both photos are resampled straight from their distorted pixels into a common frame whose x axis is the
baseline.  The second one is sheared so that what lies on a guiding plane comes to no disparity at all: the
range that is searched is then that of heights above it.  Camera axes: x right, y down, z forward.  Metres;
pixels.

References
----------
.. [1] A. Fusiello, E. Trucco, A. Verri, A compact algorithm for rectification of stereo pairs, Machine Vision
   and Applications 12(1), 2000, doi:10.1007/s001380050120 (the frame; here also for rolled cameras).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from ..scene import Array
from .disparity import BLOCK_PX, COARSE, OUTSIDE_PX, Floats, Grey, Second, disparities, in_steps
from .pairs import View

NODE_PX = 8  # maps are computed at every so many pixels: lens and frame bend by under 0.01 px between them
BLEND_PX = 0.5  # disparities of neighbours that differ by more are two surfaces, not to be blended
FIELD_SLACK = 1.1  # of the field of view: just outside of it nothing folds back yet
RANGE_PX = 6  # searched beyond the disparities of the box
TURNED_MOST = 0.5  # cosine between the axis and what is square to the baseline; less: one is behind the other
MOST_DISPARITIES = 256  # of the coarse pass: bounds the matcher's memory; beyond it the box is too deep


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Depths:
    """Of each worked pixel of a view."""

    log_depth: Floats  # (h, w) logarithm of the depth along the view's axis [m], not a number where none
    pixel: Floats  # (h, w) change of it by one pixel of disparity
    sd: Floats  # (h, w) its standard deviation, by how well grey levels determine it


def match(
    first: View, second: View, images: tuple[Grey, Grey], guide: tuple[Array, float], span: Array
) -> Depths | None:
    """Depths of the first view's pixels by the second.

    Parameters
    ----------
    first, second : View
    images : two uint8 arrays
        The photos, shrunk to the views' scales, distorted as they are.
    guide : array, shape (3,), and float
        Plane n . x = c near which the surface lies, world [m].
    span : array, shape (n, 3)
        Points between which everything lies that may be seen [m].

    Returns
    -------
    Depths or None
        None where the two have no common frame or nothing in it.
    """
    frame = _Frame.of(first, second, guide)
    if frame is None:
        return None
    seen = span[_shown(first, span)]
    if len(seen) == 0:
        return None
    xy, residual = frame.of_points(seen)
    low, high = float(residual.min()) - RANGE_PX, float(residual.max()) + RANGE_PX
    n_disparities = in_steps((high - low) / COARSE)
    if not 0 < n_disparities <= MOST_DISPARITIES:
        return None
    start = int(np.floor(low / COARSE))
    # Columns from which the whole range can be searched, and the worked pixels' own.
    corners = frame.of_rays(_corner_rays(first))
    x0, y0 = np.floor(np.maximum(corners.min(axis=0), xy.min(axis=0) - BLOCK_PX)).astype(int)
    x1, y1 = np.ceil(np.minimum(corners.max(axis=0), xy.max(axis=0) + BLOCK_PX)).astype(int)
    left = x0 - COARSE * max(start + n_disparities, 0)
    right = x1 + COARSE * max(-start, 0)
    if x1 - x0 < 4 * BLOCK_PX or y1 - y0 < 4 * BLOCK_PX:
        return None
    size = (COARSE * int((right - left) // COARSE + 1), COARSE * int((y1 - y0) // COARSE + 1))
    one = Second(image=images[0], **frame.places(images[0], first, (left, y0), size, sheared=False)).along()
    other = Second(image=images[1], **frame.places(images[1], second, (left, y0), size, sheared=True))
    return frame.depths(*disparities(one, other, start, n_disparities), (left, y0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Frame:
    """The common frame: x_frame = turn @ (x_world - centre of the first camera)."""

    first: View
    turn: Array  # (3, 3)
    baseline_m: float
    shear: Array  # (3,) disparity of the guiding plane: shear . (x, y, 1) [px]

    @staticmethod
    def of(first: View, second: View, guide: tuple[Array, float]) -> _Frame | None:
        along = second.photo.centre - first.photo.centre
        baseline_m = float(np.linalg.norm(along))
        if baseline_m <= 0:
            return None
        x = along / baseline_m
        ahead = first.photo.rotation[2] + second.photo.rotation[2]
        ahead = ahead / np.linalg.norm(ahead)
        z = ahead - (ahead @ x) * x
        if np.linalg.norm(z) < TURNED_MOST:  # one stands behind the other
            return None
        z = z / np.linalg.norm(z)
        turn = np.array([x, np.cross(z, x), z])
        normal, offset = turn @ guide[0], guide[1] - float(guide[0] @ first.photo.centre)
        if abs(offset) < 1e-9:
            return None
        # z = offset / (n . (x / f, y / f, 1)), and the disparity is f times baseline over z
        f = first.focal_px
        shear = baseline_m * f / offset * np.array([normal[0] / f, normal[1] / f, normal[2]])
        if not -0.5 < shear[0] < 0.5:  # the plane is seen from its edge by one of them
            shear = np.array([0.0, 0.0, baseline_m * f / first.depth_m])
        return _Frame(first=first, turn=turn, baseline_m=baseline_m, shear=shear)

    def of_points(self, points: Array) -> tuple[Array, Array]:
        """Where the first camera has world points (n, 3), and their disparities less the plane's."""
        xyz = (points - self.first.photo.centre) @ self.turn.T
        xyz = xyz[xyz[:, 2] > 0]
        f = self.first.focal_px
        xy = f * xyz[:, :2] / xyz[:, 2:]
        return xy, self._residual(xy[:, 0], xy[:, 1], f * self.baseline_m / xyz[:, 2])

    def of_rays(self, rays: Array) -> Array:
        """Where the first camera has rays (n, 3) of its own axes."""
        turned = rays @ (self.turn @ self.first.photo.rotation.T).T
        return np.asarray(self.first.focal_px * turned[:, :2] / turned[:, 2:])

    def _residual(self, x: Array, y: Array, disparity: Array) -> Array:
        """Disparity against the sheared second photo, whose column is x' with x - x' = 0 on the plane."""
        a, b, c = self.shear
        return np.asarray(x - (x - disparity + b * y + c) / (1 - a))

    def places(
        self, image: Grey, view: View, first_px: tuple[int, int], size: tuple[int, int], *, sheared: bool
    ) -> dict[str, Floats]:
        """Column and row in a photo of the frame's pixels."""
        xx, yy = nodes(first_px, size)
        if sheared:
            a, b, c = self.shear
            xx = (1 - a) * xx - b * yy - c
        f = self.first.focal_px
        rays = np.stack([xx.ravel() / f, yy.ravel() / f, np.ones(xx.size)], axis=1)
        turned = rays @ (view.photo.rotation @ self.turn.T).T
        behind = turned[:, 2] <= 0
        turned[behind] = [0.0, 0.0, 1.0]
        beyond = behind | (np.abs(turned[:, :2]) > FIELD_SLACK * view.half_field * turned[:, 2:]).any(axis=1)
        camera = view.photo.camera
        scale = np.array([image.shape[1] / camera.width_px, image.shape[0] / camera.height_px])
        pixels = (camera.project(turned) + 0.5) * scale - 0.5
        pixels[beyond] = OUTSIDE_PX
        column, row = between_nodes(pixels, xx.shape, size)
        return {"column": column, "row": row}

    def depths(self, disparity: Floats, sd_px: Floats, first_px: tuple[int, int]) -> Depths:
        """The matched disparities at the first view's own worked pixels."""
        size = self.first.size_px
        xx, yy = nodes(self.first.low_px, size)
        f = self.first.focal_px
        rays = np.stack([xx.ravel() / f, yy.ravel() / f, np.ones(xx.size)], axis=1)
        turned = rays @ (self.turn @ self.first.photo.rotation.T).T
        xy = f * turned[:, :2] / turned[:, 2:]
        x, y = between_nodes(xy, xx.shape, size)
        (lean,) = between_nodes(turned[:, 2:], xx.shape, size)
        at = x - np.float32(first_px[0]), y - np.float32(first_px[1])
        residual = _between(disparity, *at)
        sd = cv2.remap(sd_px, *at, cv2.INTER_NEAREST)
        a, b, c = (np.float32(value) for value in self.shear)
        whole = x - ((x - residual) * (1 - a) - b * y - c)
        with np.errstate(invalid="ignore", divide="ignore"):
            whole = np.where(whole > 0, whole, np.float32(np.nan))
            depth = np.float32(f * self.baseline_m) / (whole * lean)
            pixel = np.asarray((1 - a) / whole, np.float32)
            return Depths(log_depth=np.log(depth), pixel=pixel, sd=np.asarray(pixel * sd, np.float32))


def _between(picture: Floats, x: Floats, y: Floats) -> Floats:
    """A picture between its pixels; the nearest pixel's own at the edges of what it shows."""
    nowhere = float("nan")
    nearest = cv2.remap(picture, x, y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=nowhere)
    smooth = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=nowhere)
    return np.asarray(np.where(np.abs(smooth - nearest) < BLEND_PX, smooth, nearest), dtype=np.float32)


def _shown(view: View, points: Array) -> npt.NDArray[np.bool_]:
    """Which points (n, 3) lie in the worked part of a view."""
    xyz = points @ view.photo.rotation.T + view.photo.translation
    ahead = xyz[:, 2] > 0
    flat = view.focal_px * xyz[:, :2] / np.where(ahead, xyz[:, 2], 1.0)[:, None]
    low = np.array(view.low_px)
    return np.asarray(ahead & ((flat >= low) & (flat <= low + np.array(view.size_px))).all(axis=1))


def _corner_rays(view: View) -> Array:
    """Rays of points round the edge of the worked part, camera axes."""
    (x, y), (w, h) = view.low_px, view.size_px
    side = np.linspace(0.0, 1.0, 9)
    edge = [(x + w * s, y + h * t) for s in side for t in (0.0, 1.0)]
    edge += [(x + w * t, y + h * s) for s in side for t in (0.0, 1.0)]
    return np.column_stack([np.array(edge) / view.focal_px, np.ones(len(edge))])


def nodes(first_px: tuple[int, int], size: tuple[int, int]) -> tuple[Array, Array]:
    """x and y of every `NODE_PX`-th pixel of a picture, and of one more on each side."""
    sides = [
        first + (NODE_PX - 1) / 2 + NODE_PX * np.arange(-1, -(-n // NODE_PX) + 1)
        for first, n in zip(first_px, size, strict=True)
    ]
    xx, yy = np.meshgrid(*sides)
    return xx, yy


def between_nodes(values: Array, shape: tuple[int, ...], size: tuple[int, int]) -> list[Floats]:
    """Columns of values at the nodes, shape (nodes, k), at every pixel."""
    width, height = shape[1] * NODE_PX, shape[0] * NODE_PX
    maps = []
    for column in values.T:
        fine = cv2.resize(
            np.ascontiguousarray(column.reshape(shape), dtype=np.float32),
            (width, height),
            interpolation=cv2.INTER_LINEAR,
        )
        inner = fine[NODE_PX : NODE_PX + size[1], NODE_PX : NODE_PX + size[0]]
        maps.append(np.asarray(inner, dtype=np.float32))
    return maps
