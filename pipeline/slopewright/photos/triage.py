"""Which photos are used, and why the others are not."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..errors import InputError
from ..scene import Array
from .read import Photo, Pixels, load_pixels, read_photo

LONG_SIDE_PX = 1600  # at which photos are matched and judged; larger ones give little and cost much
ROUNDING_TRIES = 120  # shorter widths to try so that the height is a whole number too
MIN_SIDE_PX = 320  # of a photo: smaller ones are thumbnails
BLANK_SD = 4.0  # grey levels of 255: a lens cap, a black or a burnt-out frame
MAX_BLUR = (
    0.65  # of the measure below: sharp photos have 0.2 to 0.4, blurred by a Gaussian of 3 px 0.6 to 0.75
)
BLUR_BOX_PX = 5  # length of the box that the measure blurs by, at half the matching size
NOISE_LEVELS = 4.0  # grey levels by which noise and compression make neighbours differ: no sharpness
SEEN_SHARE = 1e-4  # of all neighbours that must differ by more, or nothing in the photo has an edge
THUMB_PX = (64, 48)  # at which photos are compared
SAME_LEVELS = 0.7  # mean difference of thumbnails [grey levels]: the same picture saved again


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UsablePhoto:
    """A photo with its picture scaled for matching."""

    photo: Photo
    pixels: Pixels  # (height, width, 3), upright


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Triage:
    """The photos of a job, sorted."""

    usable: tuple[UsablePhoto, ...]
    left_out: tuple[tuple[str, str], ...]  # photo, why


def triage(paths: tuple[Path, ...]) -> Triage:
    """Read photos and leave out those that can only do harm.

    Parameters
    ----------
    paths : Path, ...

    Returns
    -------
    Triage
        In the order of the file names.
    """
    usable: list[UsablePhoto] = []
    left_out: list[tuple[str, str]] = []
    thumbs: list[Array] = []
    for path in sorted(paths, key=lambda path: path.name):
        try:
            photo = read_photo(path)
            if min(photo.width_px, photo.height_px) < MIN_SIDE_PX:
                raise _Unfit(f"{photo.width_px} x {photo.height_px} px, a thumbnail; need the original")
            pixels = load_pixels(path, size=matching_size(photo.width_px, photo.height_px))
            grey = pixels.mean(axis=2)
            _check_picture(grey)
            thumb = _thumb(pixels)
            twin = _twin(thumb, thumbs)
            if twin is not None:
                raise _Unfit(f"the same picture as {usable[twin].photo.name}")
        except InputError as error:
            left_out.append((path.name, str(error).removeprefix(f"{path}: ")))
            continue
        except _Unfit as unfit:
            left_out.append((path.name, str(unfit)))
            continue
        usable.append(UsablePhoto(photo=photo, pixels=pixels))
        thumbs.append(thumb)
    return Triage(usable=tuple(usable), left_out=tuple(left_out))


def matching_size(width_px: int, height_px: int) -> tuple[int, int]:
    """The size at which a photo is matched: at most 1600 px long, sides in one proportion."""
    long_side = max(width_px, height_px)
    if long_side <= LONG_SIDE_PX:
        return width_px, height_px
    tries = np.arange(LONG_SIDE_PX, LONG_SIDE_PX - ROUNDING_TRIES, -1)
    other = tries * (min(width_px, height_px) / long_side)
    best = int(np.argmin(np.abs(other - np.round(other)).round(6)))
    sides = int(tries[best]), int(np.round(other[best]))
    return sides if width_px >= height_px else sides[::-1]


def blur(grey: Array) -> float:
    """How blurred a picture is: 0 sharp, 1 nothing but blur.

    References
    ----------
    .. [1] F. Crete, T. Dolmiere, P. Ladret, M. Nicolas, "The blur effect: perception and estimation with a
       new no-reference perceptual blur metric," SPIE 6492, 2007, doi:10.1117/12.702790.
    """
    import cv2

    half = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)  # calms noise
    worst = 0.0
    for axis, box in ((0, (1, BLUR_BOX_PX)), (1, (BLUR_BOX_PX, 1))):
        sharp = np.abs(np.diff(half, axis=axis))
        soft = np.abs(np.diff(cv2.blur(half, box), axis=axis))
        told = sharp > NOISE_LEVELS
        if told.mean() < SEEN_SHARE:
            return 1.0
        kept = np.minimum(soft, sharp)[told].sum() / sharp[told].sum()
        worst = max(worst, float(kept))
    return worst


class _Unfit(Exception):
    """Why a photo is left out."""


def _check_picture(grey: Array) -> None:
    spread = float(grey.std())
    if spread < BLANK_SD:
        raise _Unfit(f"black, white or blank: its grey levels spread by {spread:.1f} of 255")
    measure = blur(grey)
    if measure > MAX_BLUR:
        raise _Unfit(
            f"blurred ({measure:.2f} on a scale from 0, sharp, to 1; limit {MAX_BLUR}): take it again"
        )


def _thumb(pixels: Pixels) -> Array:
    import cv2

    return np.asarray(cv2.resize(pixels, THUMB_PX, interpolation=cv2.INTER_AREA), dtype=np.float64)


def _twin(thumb: Array, others: list[Array]) -> int | None:
    """Which earlier picture this is, if it is one of them."""
    return next((i for i, other in enumerate(others) if np.abs(thumb - other).mean() < SAME_LEVELS), None)
