"""Where the photos look, how finely they are worked, and which photos are matched with which.

Metres and radians; pixels; z up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..scene import Array, lock
from .model import Block, Camera, PosedPhoto

MOST_PARTNERS = 3  # of a photo: a fourth gave no more cover on drone sets (own trials)
BEST_ANGLE_RAD = np.deg2rad(12.0)  # between rays: wide enough for depth, narrow enough to look alike
ANGLE_SPREAD = 0.6  # of the logarithm of the angle: half the weight at 6° and at 24°
LEAST_ANGLE_RAD, MOST_ANGLE_RAD = np.deg2rad(3.0), np.deg2rad(30.0)
LEAST_SHARED = 12  # tie points in the box; fewer are no proof that two photos show the same
MOST_ZOOM = 2.0  # ratio of the sizes at which two photos show the box
IN_MANY = 0.3  # a tie point belongs to the subject if it is framed by this share of the most framing photos
LEAST_FRAMES = 2  # photos that frame a point of the subject
PAD_M = 2.0  # the box goes on so far round the subject: eaves and ridges have no tie points of their own
TRIM = 1.0  # per cent of tie points at each end that may be strays
WORK_PX = 1.0e6  # pixels of a photo's part that is matched: bounds time and memory
GRID = 12  # points along each side of the box that stand for it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Box:
    """The part of the world that is matched, upright."""

    low: Array  # (3,) [m]
    high: Array  # (3,) [m]

    def __post_init__(self) -> None:
        lock(self.low, self.high)

    def holds(self, points: Array) -> npt.NDArray[np.bool_]:
        """Which points (n, 3) lie in it."""
        return np.asarray(((points >= self.low) & (points <= self.high)).all(axis=1))

    def lattice(self) -> Array:
        """Points that fill it, shape (3 GRID², 3) [m]."""
        sides = [np.linspace(self.low[k], self.high[k], n) for k, n in enumerate((GRID, GRID, 3))]
        return np.stack(np.meshgrid(*sides, indexing="ij"), axis=-1).reshape(-1, 3)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """The part of a photo that shows the box, as a pinhole camera of `focal_px` would have it."""

    index: int  # of the photo in the block
    photo: PosedPhoto
    scale: float  # of the pixels as they are worked to those of the photo, at most 1
    low_px: tuple[int, int]  # x and y of the first worked pixel, relative to the axis
    size_px: tuple[int, int]  # width and height of the worked part
    half_field: Array  # (2,) of the photo, as tangents
    depth_m: float  # typical, of the box

    def __post_init__(self) -> None:
        lock(self.half_field)

    @property
    def focal_px(self) -> float:
        """Of the worked pixels."""
        return self.photo.camera.focal_px * self.scale


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """What is matched with what."""

    box: Box
    views: tuple[View, ...]
    partners: tuple[tuple[int, ...], ...]  # of each view, indices into views, best first
    gsd_m: float  # side of a worked pixel on the subject, median

    def __len__(self) -> int:
        return len(self.views)


def make_plan(block: Block) -> Plan:
    """Choose the box, the scale of work and the partners of each photo.

    Raises
    ------
    InputError
        If the photos have no subject in common, or no two of them can be matched.
    """
    box = subject_box(block)
    views = [view for i, photo in enumerate(block.photos) if (view := _view(i, photo, box)) is not None]
    chosen = [_partners(n, views, block, box) for n in range(len(views))]
    if not any(chosen):
        raise InputError(
            f"photos: none of the {len(block.photos)} placed photos can be matched densely with another,"
            " need neighbours that look at the same roof from 5 to 20 degrees apart: take photos every few"
            " steps (or every 3 to 5 m of flight) round the roof, all of it in the frame"
        )
    gsd_m = float(np.median([view.depth_m / view.focal_px for view in views]))
    return Plan(box=box, views=tuple(views), partners=tuple(chosen), gsd_m=gsd_m)


def subject_box(block: Block) -> Box:
    """The box round what many photos have in their frames.

    Raises
    ------
    InputError
        If there are no tie points in it.
    """
    frames = np.zeros(len(block.points), dtype=np.int64)
    for photo in block.photos:
        frames += in_frame(photo, block.points)
    most = int(frames.max(initial=0))
    inside = frames >= max(LEAST_FRAMES, IN_MANY * most)
    if most < LEAST_FRAMES or np.count_nonzero(inside) < LEAST_SHARED:
        raise InputError(
            f"photos: {np.count_nonzero(inside)} points are in the frames of two or more photos, need"
            f" {LEAST_SHARED} or more: take overlapping photos, each with the whole roof in its frame"
        )
    low, high = np.percentile(block.points[inside], [TRIM, 100 - TRIM], axis=0)
    return Box(low=low - PAD_M, high=high + PAD_M)


def half_field(camera: Camera) -> Array:
    """Tangents of half the field of view, to the side and up, shape (2,): beyond, lens models fold back."""
    last = (camera.width_px - 1.0, camera.height_px - 1.0)
    edge = [[x, y] for x in np.linspace(0.0, last[0], 5) for y in (0.0, last[1])]
    edge += [[x, y] for x in (0.0, last[0]) for y in np.linspace(0.0, last[1], 5)]
    return np.asarray(np.abs(camera.rays(np.array(edge))[:, :2]).max(axis=0))


def in_frame(photo: PosedPhoto, points: Array) -> npt.NDArray[np.bool_]:
    """Which of the points (n, 3) [m] lie ahead and within the photo's frame."""
    camera = photo.camera
    xyz = points @ photo.rotation.T + photo.translation
    ahead = xyz[:, 2] > 0
    flat = xyz[:, :2] / np.where(ahead, xyz[:, 2], 1.0)[:, None]
    held = ahead & (np.abs(flat) <= half_field(camera)).all(axis=1)
    pixels = photo.project(points[held])
    size = np.array([camera.width_px, camera.height_px])
    held[held] = ((pixels > -0.5) & (pixels < size - 0.5)).all(axis=1)
    return np.asarray(held)


def _view(index: int, photo: PosedPhoto, box: Box) -> View | None:
    """The part of a photo that shows the box, if it shows any."""
    camera = photo.camera
    xyz = box.lattice() @ photo.rotation.T + photo.translation
    limit = half_field(camera)
    ahead = xyz[xyz[:, 2] > 0]
    flat = ahead[:, :2] / ahead[:, 2:]
    shown = (np.abs(flat) < limit).all(axis=1)
    if np.count_nonzero(shown) < GRID:
        return None
    # The lattice is coarse: the box reaches up to a step beyond the outermost of its points that are shown.
    low = np.clip(flat.min(axis=0), -limit, limit)
    high = np.clip(flat.max(axis=0), -limit, limit)
    width, height = (high - low) * camera.focal_px
    scale = float(min(1.0, np.sqrt(WORK_PX / (width * height))))
    first = np.floor(low * camera.focal_px * scale).astype(int)
    last = np.ceil(high * camera.focal_px * scale).astype(int)
    return View(
        index=index,
        photo=photo,
        scale=scale,
        low_px=(int(first[0]), int(first[1])),
        size_px=(int(last[0] - first[0] + 1), int(last[1] - first[1] + 1)),
        half_field=limit,
        depth_m=float(np.median(ahead[shown, 2])),
    )


def _partners(n: int, views: list[View], block: Block, box: Box) -> tuple[int, ...]:
    """Views to match a view with: many shared tie points in the box, under good angles."""
    own = views[n]
    mine = np.zeros(len(block.points), dtype=bool)
    mine[block.seen_point[block.seen_photo == own.index]] = True
    mine &= box.holds(block.points)
    scores: list[tuple[float, int]] = []
    for m, other in enumerate(views):
        zoom = (own.depth_m / own.focal_px) / (other.depth_m / other.focal_px)
        if m == n or not 1 / MOST_ZOOM <= zoom <= MOST_ZOOM:
            continue
        theirs = block.seen_point[block.seen_photo == other.index]
        shared = block.points[theirs[mine[theirs]]]
        if len(shared) < LEAST_SHARED:
            continue
        angle = parallax(own.photo, other.photo, shared)
        if not LEAST_ANGLE_RAD <= float(np.median(angle)) <= MOST_ANGLE_RAD:
            continue
        weight = np.exp(-0.5 * (np.log(np.maximum(angle, 1e-6) / BEST_ANGLE_RAD) / ANGLE_SPREAD) ** 2)
        scores.append((-float(weight.sum()), m))
    return tuple(m for _, m in sorted(scores)[:MOST_PARTNERS])


def parallax(first: PosedPhoto, second: PosedPhoto, points: Array) -> Array:
    """Angle at each of the points (n, 3) between the ways to two cameras, shape (n,) [rad]."""
    a, b = first.centre - points, second.centre - points
    return np.asarray(np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), (a * b).sum(axis=1)))
