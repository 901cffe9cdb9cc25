"""Points that were marked in several photos: where they are, and how well, in the frame of a model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri

from ..scene import Array, Notice, lock
from .doubt import POSE, CameraDoubt, projection_slopes
from .marks import Mark
from .placed import Model

STEPS = 20  # of Gauss and Newton; a few suffice from a start that is near
STEP_DONE = 1e-10  # over the distance to the cameras
CAMERA_PX = 0.5  # what a camera that is a little off adds to a mark's residual
CHANCE = 1e-4  # at which a mark's pixels are said to contradict each other
KEPT_SHARE = 2 / 3  # of a mark's photos that must agree, or nobody knows which ones are right


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spots:
    """Marked points with their joint covariance."""

    names: tuple[str, ...]
    xyz: Array  # (n, 3)
    covariance: Array  # (3 n, 3 n), from the marks' own doubt and the cameras'
    photos: tuple[tuple[str, ...], ...]  # in which each was used
    unplaced: dict[str, str]  # marks that have no place, and why
    notices: tuple[Notice, ...] = ()

    def __post_init__(self) -> None:
        lock(self.xyz, self.covariance)

    def row(self, name: str) -> int | None:
        """Which point has a name."""
        return self.names.index(name) if name in self.names else None


def place_marks(model: Model, doubt: CameraDoubt, marks: Sequence[Mark]) -> Spots:
    """Place marked points by the photos that show them.

    Parameters
    ----------
    model : Model
    doubt : CameraDoubt
        Of the same model.
    marks : Mark, ...
        Photos that the model has not are passed over.

    Returns
    -------
    Spots
        A pixel that contradicts the others is left out, and named in a notice.
    """
    names: list[str] = []
    places: list[Array] = []
    own: list[Array] = []
    slopes: list[Array] = []
    photos: list[tuple[str, ...]] = []
    unplaced: dict[str, str] = {}
    notices: list[Notice] = []
    for mark in marks:
        shown = [name for name in model.names if name in mark.photos]
        if len(shown) < 2:
            unplaced[mark.name] = _too_few(mark, shown)
            continue
        found, left = _agreeing(model, mark, shown)
        if found is None:
            where = ", ".join(left)
            unplaced[mark.name] = (
                f'mark "{mark.name}": its pixels in {where} contradict each other, look at them'
            )
            continue
        for name in left:
            text = f'mark "{mark.name}" in {name} contradicts the other photos and was left out: look at it'
            notices.append(Notice(code="mark_left_out", text=text, about=(mark.name, name)))
        names.append(mark.name)
        places.append(found.xyz)
        own.append(found.covariance)
        slopes.append(_by_cameras(model, doubt, found))
        photos.append(tuple(model.names[i] for i in found.photo))
    covariance = np.zeros((3 * len(names), 3 * len(names)))
    for n, block in enumerate(own):
        covariance[3 * n : 3 * n + 3, 3 * n : 3 * n + 3] = block
    if names:
        slope = np.concatenate(slopes)
        covariance += slope @ doubt.covariance @ slope.T
    return Spots(
        names=tuple(names),
        xyz=np.array(places).reshape(-1, 3),
        covariance=covariance,
        photos=tuple(photos),
        unplaced=unplaced,
        notices=tuple(notices),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Placed:
    """One point from its sights."""

    photo: npt.NDArray[np.int64]  # (k,) rows of the model
    xyz: Array  # (3,)
    covariance: Array  # (3, 3), of the marks' own doubt
    gain: Array  # (3, 2 k) how the point moves with its pixels
    misfit: Array  # (k,) squared residuals over their variances
    by_pose: Array  # (k, 2, 6)
    by_lens: Array  # (k, 2, 5)


def _too_few(mark: Mark, shown: list[str]) -> str:
    marked = ", ".join(mark.photos)
    if len(mark.photos) == 1:
        return (
            f'mark "{mark.name}" is marked in {marked} alone, need two or more photos from different places'
        )
    used = f"of which {shown[0]} alone is placed" if shown else "none of which is placed"
    return f'mark "{mark.name}" is marked in {marked}, {used}; mark it in two or more photos that are used'


def _agreeing(model: Model, mark: Mark, shown: list[str]) -> tuple[_Placed | None, list[str]]:
    """The point by the photos that agree, and the photos that do not; no point if too few agree."""
    kept = list(shown)
    left: list[str] = []
    while True:
        found = _place(model, mark, kept)
        if found.misfit.sum() <= chdtri(2 * len(kept) - 3, CHANCE) and np.isfinite(found.xyz).all():
            return found, left
        if len(kept) == 2 or len(kept) - 1 < KEPT_SHARE * len(shown):
            return None, shown
        without = [_place(model, mark, kept[:i] + kept[i + 1 :]).misfit.sum() for i in range(len(kept))]
        left.append(kept.pop(int(np.argmin(without))))


def _place(model: Model, mark: Mark, shown: list[str]) -> _Placed:
    photo = np.array([model.names.index(name) for name in shown], dtype=np.int64)
    pixels = np.array([mark.photos[name] for name in shown])
    lens, rotation, translation = model.lens[photo], model.rotation[photo], model.translation[photo]
    centres = model.centres[photo]
    xyz = _nearest_to_rays(centres, rays_of(lens, rotation, pixels))
    for _ in range(STEPS):
        at, by_pose, by_lens, by_point = projection_slopes(
            lens, rotation, translation, np.broadcast_to(xyz, (len(photo), 3))
        )
        slope = by_point.reshape(-1, 3)
        gain: Array = np.asarray(np.linalg.pinv(slope), dtype=np.float64)
        step = gain @ (pixels - at).ravel()
        xyz = xyz + step
        if np.linalg.norm(step) < STEP_DONE * np.linalg.norm(centres - xyz, axis=1).mean():
            break
    variance = mark.u_px**2 + CAMERA_PX**2
    return _Placed(
        photo=photo,
        xyz=xyz,
        covariance=mark.u_px**2 * gain @ gain.T,
        gain=gain,
        misfit=((pixels - at) ** 2).sum(axis=1) / variance,
        by_pose=by_pose,
        by_lens=by_lens,
    )


def rays_of(lens: Array, rotation: Array, pixels: Array) -> Array:
    """Directions (n, 3), unit, in the frame of the model, in which photos see pixels (n, 2)."""
    bent = (pixels - lens[:, 1:3]) / lens[:, :1]
    flat = bent.copy()
    for _ in range(STEPS):
        squared = (flat**2).sum(axis=1)
        flat = bent / (1 + lens[:, 3] * squared + lens[:, 4] * squared**2)[:, None]
    rays = np.einsum("nji,nj->ni", rotation, np.column_stack([flat, np.ones(len(flat))]))
    return np.asarray(rays / np.linalg.norm(rays, axis=1)[:, None])


def _nearest_to_rays(centres: Array, rays: Array) -> Array:
    """The point with the least sum of squared distances to lines."""
    across = np.eye(3) - rays[:, :, None] * rays[:, None, :]
    return np.asarray(np.linalg.pinv(across.sum(axis=0)) @ np.einsum("nij,nj->i", across, centres))


def _by_cameras(model: Model, doubt: CameraDoubt, found: _Placed) -> Array:
    """How a point moves with all poses and lenses, (3, columns of the doubt)."""
    slope = np.zeros((3, len(doubt.covariance)))
    for k, i in enumerate(found.photo):
        gain = found.gain[:, 2 * k : 2 * k + 2]
        slope[:, POSE * i : POSE * i + POSE] -= gain @ found.by_pose[k]
        row = doubt.lens_row[i]
        slope[:, row : row + 5] -= gain @ found.by_lens[k]
    return slope
