"""A camera found from marks alone, on published photos.

Oracle: OpenCV's example set of a chessboard and the calibration published with it (left_intrinsics.yml of
the same folder): focal length 535.92 px, principal point (342.28, 235.57) px, mean error 0.39 px.  The
corners as found in the photos are in data/chessboard/left.json, which says how.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from slopewright.photos import marked
from slopewright.photos.marked import MarkedLength
from slopewright.photos.marks import Mark, Marks
from slopewright.photos.read import Photo

PUBLISHED_FOCAL_PX, PUBLISHED_CENTRE_PX = 535.92, (342.28, 235.57)
SQUARE_M = 0.025
CONTENT = json.loads((Path(__file__).parents[1] / "data/chessboard/left.json").read_text())


@pytest.fixture(scope="module")
def block():
    corners = CONTENT["corners"]
    width_px, height_px = CONTENT["size_px"]
    photos = [
        Photo(
            name=name,
            path=Path(name),
            width_px=width_px,
            height_px=height_px,
            camera="one",
            focal_px=None,  # the files do not say
            gps=None,
            time=None,
        )
        for name in sorted(corners["00"])
    ]
    marks = Marks(
        file="marks.json",
        marks=tuple(
            Mark(name=name, u_px=0.3, photos={photo: tuple(xy) for photo, xy in seen.items()})
            for name, seen in corners.items()
        ),
    )
    row = MarkedLength(name="row", ends=(("00",), ("08",)), length_m=8 * SQUARE_M, u_m=1e-4)
    return marked.run(photos, marks, [row], rng=np.random.default_rng(1))


def test_the_camera_is_the_published_one(block):
    assert len(block.block.photos) == 13
    camera = block.block.photos[0].camera
    assert camera.focal_px == pytest.approx(PUBLISHED_FOCAL_PX, rel=0.005)
    assert camera.centre_px == pytest.approx(PUBLISHED_CENTRE_PX, abs=4.0)


def test_marks_fit_as_well_as_published(block):
    residual = np.array(list(block.residual_px.values()))
    assert np.sqrt(np.mean(residual**2)) < 0.39


def test_the_board_is_flat_and_its_squares_square(block):
    at = dict(zip(block.names, block.xyz, strict=True))
    board = np.array(list(at.values()))
    assert np.linalg.svd(board - board.mean(axis=0))[1][2] / np.sqrt(len(board)) < 0.0005
    assert np.linalg.norm(at["00"] - at["50"]) == pytest.approx(5 * SQUARE_M, rel=0.005)
    assert np.linalg.norm(at["08"] - at["58"]) == pytest.approx(5 * SQUARE_M, rel=0.005)
