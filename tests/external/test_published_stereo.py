"""The matcher on a published pair of photos with measured disparities.

Oracle: the "motorcycle" pair of the Middlebury 2014 stereo benchmark (D. Scharstein et al., High-resolution
stereo datasets with subpixel-accurate ground truth, GCPR 2014), at quarter size as scikit-image carries it:
focal length 994.978 px, baseline 193.001 mm, principal points 31.086 px apart, as its docstring states them.
"""

import cv2
import numpy as np
import pytest
from skimage import data

from slopewright.photos.disparity import Second, disparities

FOCAL_PX, BASELINE_MM, APART_PX = 994.978, 193.001, 31.086


@pytest.fixture(scope="module")
def matched():
    left, right, true = data.stereo_motorcycle()
    grey = [cv2.cvtColor(image, cv2.COLOR_RGB2GRAY) for image in (left, right)]
    height, width = true.shape
    column, row = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    second = Second(image=grey[1], column=column, row=row)
    found, sd = disparities(grey[0].astype(np.float32), second, 0, 80)
    both = np.isfinite(found) & np.isfinite(true)  # the file has inf where nothing was measured
    return found, sd, true, both


def test_most_of_the_picture_is_matched_to_a_part_of_a_pixel(matched):
    found, _, true, both = matched
    error = np.abs(found - true)[both]
    assert both.sum() > 0.75 * np.isfinite(true).sum()
    assert np.median(error) < 0.25
    assert np.mean(error < 1.0) > 0.85


def test_depth_follows_from_it_to_half_a_per_cent(matched):
    found, _, true, both = matched
    depth, true_depth = (FOCAL_PX * BASELINE_MM / (d[both] + APART_PX) for d in (found, true))
    assert np.median(np.abs(depth / true_depth - 1)) < 0.005
    assert abs(np.median(depth / true_depth - 1)) < 0.002
