"""Disparities of two pictures with common rows: coarse, fine along the coarse, then to a part of a pixel.

The semi-global matcher prefers what is level in its own frame, and whole disparities: left alone it takes
some of a small face's pitch, and errs by up to a third of a pixel.  So the second photo is resampled along
a coarse pass, the fine pass sees flat surfaces, and its result is moved to where grey differs least.

References
----------
.. [1] H. Hirschmüller, Stereo processing by semiglobal matching and mutual information, IEEE TPAMI 30(2),
   2008, doi:10.1109/TPAMI.2007.1166 (the matcher, as OpenCV has it).
.. [2] B. D. Lucas, T. Kanade, An iterative image registration technique with an application to stereo vision,
   IJCAI 1981 (the last step, along rows; window means taken out).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Grey = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]

COARSE = 2  # the first pass is so many times coarser, over the whole range
FINE_PX = 16  # searched on both sides by the second
STEP_PX = 16  # disparities are searched in multiples
BLOCK_PX = 5  # side of the matcher's window
PENALTY = (8, 40)  # of small and large jumps, times the window's area: OpenCV's advice is 8 and 32
UNIQUENESS = 8  # per cent by which the best match is better than the next
BACK_PX = 1  # left to right and right to left agree to
LAST_STEPS = 3  # of the least squares
LAST_PX = 9  # side of its window
MOST_LAST_PX = 1.0  # it moves: the matcher's own errors are smaller
NOISE_GREY = (
    3.0  # standard deviation of the difference of two photos' grey: noise, JPEG, resampling; own trials
)
FLOOR_PX = 0.05  # of a disparity: neighbours in a window err together; own trials


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Second:
    """The second photo, and where in it the pixels of its frame are."""

    image: Grey
    column: Floats
    row: Floats

    def along(self, disparity: Floats | None = None) -> Floats:
        """Grey levels, each pixel from as far to the left as its disparity says."""
        column, row = self.column, self.row
        if disparity is not None:
            xx, yy = np.meshgrid(*(np.arange(n, dtype=np.float32) for n in disparity.shape[::-1]))
            column, row = (
                np.asarray(
                    cv2.remap(
                        at,
                        xx - disparity,
                        yy,
                        cv2.INTER_LINEAR,
                        borderMode=cv2.BORDER_CONSTANT,
                        borderValue=OUTSIDE_PX,
                    ),
                    dtype=np.float32,
                )
                for at in (self.column, self.row)
            )
        return _grey(self.image, column, row)


OUTSIDE_PX = -1e5  # far enough that nothing blended with it is a pixel


def disparities(one: Floats, second: Second, start: int, n_disparities: int) -> tuple[Floats, Floats]:
    """Disparities of the first picture's pixels and their standard deviations [px].

    Parameters
    ----------
    one : float32 array, shape (h, w)
        Grey levels, zero outside of the photo; sides are multiples of `COARSE`.
    second : Second
        Of the same shape.
    start, n_disparities : int
        Range of the coarse pass, in its own pixels.

    Returns
    -------
    two float32 arrays, shape (h, w)
        Not a number where nothing matches.
    """
    even = cv2.createCLAHE(clipLimit=2.0, tileGridSize=(8, 8))
    first = even.apply(_whole(one))
    near = _coarse(np.asarray(first), np.asarray(even.apply(_whole(second.along()))), start, n_disparities)
    fitted = second.along(near)
    rest = _matched(np.asarray(first), np.asarray(even.apply(_whole(fitted))), -FINE_PX, 2 * FINE_PX)
    rest[(one == 0) | (fitted == 0)] = np.nan
    found = near + rest
    smooth = np.where(np.isfinite(found), found, near)
    smooth = np.asarray(cv2.bilateralFilter(cv2.medianBlur(smooth, 5), 7, 1.5, 3.0), dtype=np.float32)
    last, sd = _least_squares(one, second, smooth)
    lost = ~np.isfinite(found) | (np.abs(last - found) > MOST_LAST_PX)
    return np.where(lost, np.float32(np.nan), last), sd


def in_steps(n: float) -> int:
    """A number of disparities that the matcher takes."""
    return int(np.ceil(n / STEP_PX)) * STEP_PX


def _whole(grey: Floats) -> Grey:
    return np.asarray(np.rint(grey), dtype=np.uint8)


def _grey(image: Grey, column: Floats, row: Floats) -> Floats:
    """Grey levels at places of a photo, zero outside of it."""
    taken = cv2.remap(image.astype(np.float32), column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return np.asarray(taken, dtype=np.float32)


def _matched(one: Grey, other: Grey, start: int, n_disparities: int) -> Floats:
    """Disparities by the matcher, not a number where there are none."""
    matcher = cv2.StereoSGBM.create(
        minDisparity=start,
        numDisparities=n_disparities,
        blockSize=BLOCK_PX,
        P1=PENALTY[0] * BLOCK_PX**2,
        P2=PENALTY[1] * BLOCK_PX**2,
        disp12MaxDiff=BACK_PX,
        uniquenessRatio=UNIQUENESS,
        mode=cv2.StereoSGBM_MODE_SGBM_3WAY,
    )
    found = matcher.compute(one, other).astype(np.float32) / np.float32(16)
    return np.where(found < start, np.float32(np.nan), found).astype(np.float32)


def _coarse(one: Grey, other: Grey, start: int, n_disparities: int) -> Floats:
    """Disparities at a coarse scale, brought back to the fine one; gaps take the farther of their sides."""
    small = [
        np.asarray(
            cv2.resize(grey, None, fx=1 / COARSE, fy=1 / COARSE, interpolation=cv2.INTER_AREA), np.uint8
        )
        for grey in (one, other)
    ]
    found = _matched(small[0], small[1], start, n_disparities)
    known = np.isfinite(found)
    width = found.shape[1]
    place = np.broadcast_to(np.arange(width), found.shape)
    before = np.maximum.accumulate(np.where(known, place, -1), axis=1)
    after = np.minimum.accumulate(np.where(known, place, width)[:, ::-1], axis=1)[:, ::-1]
    rows = np.arange(found.shape[0])[:, None]
    left = np.where(before >= 0, found[rows, np.maximum(before, 0)], np.inf)
    right = np.where(after < width, found[rows, np.minimum(after, width - 1)], np.inf)
    nearest = np.minimum(left, right)
    filled = np.where(np.isfinite(nearest), nearest, start + n_disparities / 2).astype(np.float32)
    fine = cv2.resize(cv2.medianBlur(filled, 5) * COARSE, one.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return np.asarray(cv2.bilateralFilter(fine, 7, 2.0 * COARSE, 3.0), dtype=np.float32)


def _least_squares(one: Floats, second: Second, disparity: Floats) -> tuple[Floats, Floats]:
    """The disparities moved to where windows differ least, and how well grey levels determine them."""
    centred = one - _mean(one)
    for _ in range(LAST_STEPS):
        other = second.along(disparity)
        difference = other - _mean(other) - centred
        slope = cv2.Sobel((one + other) / 2, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
        slope = slope - _mean(np.asarray(slope, np.float32))
        power = _mean(slope * slope)
        move = _mean(slope * difference) / (power + (NOISE_GREY / LAST_PX) ** 2)
        disparity = disparity + np.clip(move, -0.5, 0.5)
    return disparity, np.sqrt(NOISE_GREY**2 / LAST_PX**2 / np.maximum(power, 1e-6) + FLOOR_PX**2)


def _mean(values: Floats) -> Floats:
    """Over each pixel's window."""
    return np.asarray(cv2.blur(values, (LAST_PX, LAST_PX)), dtype=np.float32)
