"""A dense cloud from placed photos: every photo matched with a few others, checked among them, fused.

Metres, local frame of the block; z up.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..scene import Array, Cloud, lock
from .disparity import Floats, Grey
from .model import Block
from .pairs import Box, View, make_plan
from .read import load_pixels
from .stereo import Depths, match

AGREE_PX = 1.0  # two pairs see one surface if they agree to so much disparity
LEAST_PAIRS = 2  # that agree on a pixel
LEAST_PHOTOS = 2  # that agree on a voxel
VOXEL_M = 0.03  # points of one voxel become one point
VOXEL_PIXELS = 1.5  # ... which is at least so many worked pixels wide: else neighbours fall to neighbours
GRAZING = 0.15  # cosine of incidence (81°) under which a surface is a smear of few pixels
PLAIN_PX = 0.35  # standard deviation of a disparity over which a window is too plain to be matched
STEEP_VIEW = 0.42  # sine of 25°: views that look down more than this are guided by level ground
HEIGHT_PAD_M = 1.5  # what is looked for lies so far above or below tie points
MOST_SPAN = 4000  # tie points that stand for all when ranges are sought
LEAST_POINTS = 500  # a cloud of fewer shows no roof


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Voxels:
    """Sums over what fell into each voxel, keys ascending."""

    key: npt.NDArray[np.int64]
    sums: Array  # (n, 4) weight, weight times x, y, z from the box's low corner
    photos: npt.NDArray[np.int32]

    def __post_init__(self) -> None:
        lock(self.key, self.sums, self.photos)


def run(block: Block) -> Cloud:
    """The dense cloud of what most photos look at: the roof, walls and the ground around.

    Parameters
    ----------
    block : Block

    Returns
    -------
    Cloud
        Without colours; in the block's frame.

    Raises
    ------
    InputError
        If the photos cannot be matched with each other, or show no surface that two of them agree on.

    Notes
    -----
    Depths of a pixel count if two pairs agree to `AGREE_PX`; they are weighted by how well the pair measures
    depth, by incidence and by texture, and dropped where these say nothing.  The same block gives the same
    points.  Memory is bounded: a photo is worked at 1.9 megapixels at most, whatever its size.
    """
    plan = make_plan(block)
    images = [_work_image(view) for view in plan.views]
    tied = block.points[plan.box.holds(block.points)]
    span = _span(tied)
    voxel_m = max(VOXEL_M, VOXEL_PIXELS * plan.gsd_m)
    parts = []
    for n, view in enumerate(plan.views):
        guide = _guide(view, block, plan.box)
        found = []
        for m in plan.partners[n]:
            depths = match(view, plan.views[m], (images[n], images[m]), guide, span)
            if depths is not None:
                found.append(depths)
        if len(found) >= LEAST_PAIRS:
            parts.append(_voxels(*_points(view, found), plan.box, voxel_m))
    xyz = _fused(parts, plan.box)
    if len(xyz) < LEAST_POINTS:
        raise InputError(
            f"photos: {len(xyz)} points that two photos agree on, need {LEAST_POINTS}: take more photos that"
            " look down on the roof from all sides, 3 to 5 m apart, sharp and not against the sun"
        )
    return Cloud(xyz=xyz, origin=block.origin.copy(), crs=block.crs, name="photos")


def _work_image(view: View) -> Grey:
    """A photo in grey at the scale at which it is worked."""
    camera = view.photo.camera
    size = (round(camera.width_px * view.scale), round(camera.height_px * view.scale))
    whole = size == (camera.width_px, camera.height_px)
    pixels = load_pixels(view.photo.path, size=None if whole else size)
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def _span(tied: Array) -> Array:
    """Tie points, and spots above and below them: between them lies what is looked for."""
    some = tied[:: max(len(tied) // MOST_SPAN, 1)]
    up = np.array([0.0, 0.0, HEIGHT_PAD_M])
    return np.vstack([some - up, some + up])


def _guide(view: View, block: Block, box: Box) -> tuple[Array, float]:
    """A plane near what a photo sees: level for views from above, else upright and square to the view."""
    own = block.points[block.seen_point[block.seen_photo == view.index]]
    own = own[box.holds(own)]
    middle = np.median(own, axis=0) if len(own) else (box.low + box.high) / 2
    ahead = view.photo.rotation[2]
    normal = np.array([0.0, 0.0, 1.0])
    if -ahead[2] < STEEP_VIEW:
        normal = np.array([ahead[0], ahead[1], 0.0]) / np.hypot(ahead[0], ahead[1])
    return normal, float(normal @ middle)


def _points(view: View, found: list[Depths]) -> tuple[Array, Floats]:
    """World points that at least two pairs agree on, shape (n, 3), and their weights."""
    log_depth, precision = agreed(found)
    (x0, y0), (w, h) = view.low_px, view.size_px
    x = (x0 + np.arange(w, dtype=np.float32)) / np.float32(view.focal_px)
    y = (y0 + np.arange(h, dtype=np.float32)) / np.float32(view.focal_px)
    # Slope of the surface against the ray: how the logarithm of depth changes across a pixel.
    gx, gy = _change(log_depth, 1), _change(log_depth, 0)
    with np.errstate(invalid="ignore"):
        across = np.float32(view.focal_px)
        cosine = 1 / np.sqrt(1 + (across * gx) ** 2 + (across * gy) ** 2)
        weight = precision * cosine
        kept = np.isfinite(weight) & (weight > 0) & (cosine > GRAZING)
    rows, columns = np.nonzero(kept)
    depth = np.exp(log_depth[kept].astype(np.float64))
    rays = np.column_stack([x[columns], y[rows], np.ones(len(rows))])
    xyz = (rays * depth[:, None]) @ view.photo.rotation + view.photo.centre
    return xyz, np.asarray(weight[kept], dtype=np.float32)


def _change(values: Floats, axis: int) -> Floats:
    """Change to the neighbour to which it changes less, on whichever side there is one."""
    step = np.abs(np.diff(values, axis=axis))
    gap = np.full_like(np.take(values, [0], axis=axis), np.nan)
    pairs = np.concatenate([step, gap], axis=axis), np.concatenate([gap, step], axis=axis)
    return np.asarray(np.fmin(*pairs), dtype=np.float32)


def agreed(found: list[Depths]) -> tuple[Floats, Floats]:
    """The logarithm of depth that most pairs agree on, and its weight: the sum of inverse variances."""
    values = np.stack([depths.log_depth for depths in found])
    pixel = np.stack([depths.pixel for depths in found])
    sd = np.stack([depths.sd for depths in found])
    best = np.zeros(values.shape[1:], dtype=np.float32)
    result = np.full(values.shape[1:], np.nan, dtype=np.float32)
    precision = np.zeros(values.shape[1:], dtype=np.float32)
    with np.errstate(invalid="ignore", divide="ignore"):
        weight = np.where(sd < PLAIN_PX * pixel, 1 / sd**2, np.float32(np.nan))
        values = np.where(np.isfinite(weight), values, np.float32(np.nan))
        for k in range(len(found)):
            near = np.abs(values - values[k]) < AGREE_PX * np.maximum(pixel, pixel[k])
            share = np.where(near, weight, np.float32(0))
            total = share.sum(axis=0)
            count = near.sum(axis=0).astype(np.float32)
            score = np.where(count >= LEAST_PAIRS, count + total / (total + np.nanmax(weight)), np.float32(0))
            better = score > best
            mean = np.where(near, share * values, np.float32(0)).sum(axis=0) / total
            result = np.where(better, mean, result)
            precision = np.where(better, total, precision)
            best = np.where(better, score, best)
    return result, precision


def _voxels(xyz: Array, weight: Floats, box: Box, voxel_m: float) -> _Voxels:
    """One photo's points by voxel."""
    inside = box.holds(xyz)
    xyz, w = xyz[inside] - box.low, weight[inside].astype(np.float64)
    cells = np.floor(xyz / voxel_m).astype(np.int64)
    _, ny, nz = (int(n) for n in np.ceil((box.high - box.low) / voxel_m) + 1)
    key = (cells[:, 0] * ny + cells[:, 1]) * nz + cells[:, 2]
    return _summed(key, np.column_stack([w, w[:, None] * xyz]), np.ones(len(key), np.int32), count=False)


def _summed(
    key: npt.NDArray[np.int64], sums: Array, photos: npt.NDArray[np.int32], *, count: bool
) -> _Voxels:
    """Rows of equal keys added up; photos are counted if `count`, else each voxel has the one."""
    order = np.argsort(key, kind="stable")
    key, sums, photos = key[order], sums[order], photos[order]
    first = np.flatnonzero(np.r_[True, key[1:] != key[:-1]][: len(key)])
    if len(first) == 0:
        return _Voxels(key=key, sums=sums, photos=photos)
    added = np.add.reduceat(photos, first) if count else photos[first]
    return _Voxels(key=key[first], sums=np.add.reduceat(sums, first, axis=0), photos=added.astype(np.int32))


def _fused(parts: list[_Voxels], box: Box) -> Array:
    """The points of all voxels that several photos agree on, in the order of their keys."""
    if not parts:
        return np.zeros((0, 3))
    key = np.concatenate([part.key for part in parts])
    sums = np.concatenate([part.sums for part in parts])
    photos = np.concatenate([part.photos for part in parts])
    whole = _summed(key, sums, photos, count=True)
    kept = whole.photos >= LEAST_PHOTOS
    return np.asarray(box.low + whole.sums[kept, 1:] / whole.sums[kept, :1])
