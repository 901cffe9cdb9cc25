"""Printed targets in renders whose corners are known exactly.

Oracle: exact geometry.  A target is drawn through a known homography in linear light, blurred by a symmetric
kernel, sampled, and stored as sRGB (IEC 61966-2-1): where its corners fall is the homography itself.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from slopewright.errors import InputError
from slopewright.photos import board

FINE = 8  # samples a pixel


def corners_of(side_px: float, turn_rad: float, squeeze: float) -> np.ndarray:
    """A square seen obliquely: turned, squeezed in one direction, one side shorter."""
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * side_px / 2
    square = square * [1.0, squeeze] * (1 + 0.0015 * square[:, :1] / side_px * 40)
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    return square @ np.array([[c, s], [-s, c]]) + [80.3, 77.6]


def rendered(corners: np.ndarray, number: int = 7, *, blur_px: float = 0.7, noise: float = 0.0) -> np.ndarray:
    """Grey sRGB values of a target with a white margin of one cell on a mid grey ground."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    cells = np.full((12, 12), 0.2, dtype=np.float32)
    cells[1:11, 1:11] = 0.8
    cells[2:10, 2:10] = 0.02 + 0.78 * (cv2.aruco.generateImageMarker(dictionary, number, 8) > 127)
    source = np.array([[2, 2], [10, 2], [10, 10], [2, 10]], dtype=np.float32)
    # pixel centres are whole numbers: fine sample f lies at (f + 0.5) / FINE - 0.5
    to_cells = cv2.getPerspectiveTransform(corners.astype(np.float32), source)
    n = 160 * FINE
    at = (np.arange(n) + 0.5) / FINE - 0.5
    x, y = np.meshgrid(at, at)
    w = to_cells @ np.stack([x.ravel(), y.ravel(), np.ones(n * n)])
    index = np.floor(w[:2] / w[2]).astype(int).clip(0, 11)
    light = cells[index[1], index[0]].reshape(n, n)
    light = cv2.GaussianBlur(light, (0, 0), blur_px * FINE)
    light = cv2.resize(light, (160, 160), interpolation=cv2.INTER_AREA)
    value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    value = value + noise * np.random.default_rng(3).normal(size=value.shape)
    return np.rint(255 * value.clip(0, 1)).astype(np.uint8)


@pytest.mark.parametrize(
    ("side_px", "turn_rad", "squeeze", "limit_px"),
    [(30, 0.3, 1.0, 0.10), (30, 0.1, 0.7, 0.15), (60, -0.5, 0.8, 0.03), (100, 0.2, 0.6, 0.03)],
)
def test_corners_fall_where_the_homography_puts_them(side_px, turn_rad, squeeze, limit_px):
    corners = corners_of(side_px, turn_rad, squeeze)
    found = board.detect(rendered(corners))[7]
    away = np.linalg.norm(found.corners - corners, axis=1)
    assert away.max() < limit_px
    true_side = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1).mean()
    assert found.side_px == pytest.approx(true_side, abs=2 * found.rim_px)
    assert found.side_px == pytest.approx(true_side, rel=0.01)  # grey values as stored give 3 % at 30 px


def test_stated_uncertainty_holds_on_noisy_renders():
    """Of 4 corners with 2 coordinates on 3 renders, nearly all within three standard uncertainties."""
    missed = 0
    for turn_rad in (0.1, 0.4, 0.7):
        corners = corners_of(34, turn_rad, 0.9)
        found = board.detect(rendered(corners, noise=0.012))[7]
        missed += int((np.abs(found.corners - corners) > 3 * np.hypot(found.u_px, 0.03)).sum())
    assert missed <= 1


def test_middle_is_where_the_diagonals_cross():
    corners = corners_of(60, 0.3, 0.6)
    middle = board.detect(rendered(corners))[7].centre
    a, b, c, d = corners
    s = np.linalg.solve(np.column_stack([c - a, b - d]), b - a)[0]
    np.testing.assert_allclose(middle, a + s * (c - a), atol=0.05)


def test_a_number_seen_twice_is_left_out():
    one = rendered(corners_of(40, 0.2, 1.0))
    assert board.detect(np.hstack([one, one])) == {}


def test_nothing_is_found_where_nothing_is():
    assert board.detect(np.full((100, 120), 128, dtype=np.uint8)) == {}


def test_an_image_of_another_shape_is_refused():
    with pytest.raises(InputError, match="need"):
        board.detect(np.zeros((4, 5, 6, 3), dtype=np.uint8))
