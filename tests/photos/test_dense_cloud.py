"""Dense clouds against the exact planes of a cast house, and the matcher against exact shifts."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import rendered_houses as house
import shapely

from conftest import CAMERA, PIXEL_M, Measured
from slopewright.errors import InputError
from slopewright.photos import dense, pairs, stereo
from slopewright.photos.disparity import Second, disparities
from slopewright.photos.model import Block, PosedPhoto
from slopewright.scene import Array


def residuals(name: str, xyz: Array, *, within: float = 0.1) -> tuple[Array, Array]:
    """Distances to a face's plane of the points over the face, and these points' plan."""
    a, b, _ = house.PLANES[name]
    inside = shapely.contains_xy(shapely.Polygon(house.FACES[name]).buffer(-0.1), xyz[:, 0], xyz[:, 1])
    away = (xyz[inside, 2] - house.heights(name, xyz[inside, :2])) / np.sqrt(1 + a * a + b * b)
    near = np.abs(away) < within
    return away[near], xyz[inside, :2][near]


@pytest.mark.parametrize("name", list(house.FACES))
def test_the_cloud_lies_on_the_faces_and_covers_them(measured: Measured, name: str) -> None:
    """Oracle: the planes from which the photos were cast; a third of a pixel, a tenth in the mean."""
    away, plan = residuals(name, np.asarray(measured.cloud.xyz))
    assert np.sqrt(np.mean(away**2)) < PIXEL_M / 3
    assert abs(np.mean(away)) < PIXEL_M / 10
    cells = np.unique(np.floor(plan / 0.1).astype(int), axis=0)
    assert 0.01 * len(cells) > 0.95 * shapely.Polygon(house.FACES[name]).buffer(-0.1).area


def test_lawn_is_kept_so_that_the_roof_can_be_told_from_it(measured: Measured) -> None:
    """Oracle: the lawn is z = 0."""
    low = measured.cloud.xyz[np.abs(measured.cloud.xyz[:, 2]) < 0.2]
    assert len(np.unique(np.floor(low[:, :2]).astype(int), axis=0)) > 150  # square metres of it


def test_equal_blocks_make_equal_clouds(cast: Block) -> None:
    few = _only(cast, 3)
    assert (dense.run(few).xyz == dense.run(few).xyz).all()


def _only(block: Block, n: int) -> Block:
    """The block without what photos from n on saw."""
    own = block.seen_photo < n
    return replace(
        block,
        photos=block.photos[:n],
        seen_point=block.seen_point[own].copy(),
        seen_photo=block.seen_photo[own].copy(),
    )


def test_two_photos_are_not_enough_for_a_check(cast: Block) -> None:
    with pytest.raises(InputError, match=r"take more photos that look down on the roof"):
        dense.run(_only(cast, 2))


def test_photos_of_different_places_are_told_what_to_take(cast: Block) -> None:
    """No photo shares a tie point with another."""
    lonely = replace(cast, seen_point=np.arange(10, dtype=np.int32), seen_photo=np.arange(10, dtype=np.int32))
    with pytest.raises(InputError, match=r"none of the 10 placed photos .* 3 to 5 m"):
        dense.run(lonely)


def test_photos_that_look_away_from_each_other_have_no_subject(cast: Block) -> None:
    far = replace(cast, points=cast.points + np.array([500.0, 0.0, 0.0]))
    with pytest.raises(InputError, match="overlapping photos"):
        pairs.make_plan(far)


def test_plain_photos_make_no_cloud(cast: Block, tmp_path) -> None:
    """Fog: noise of a grey level, nothing to match."""
    rng = np.random.default_rng(1)
    photos = []
    for photo in cast.photos[:4]:
        plain = rng.normal(128, 1.0, (CAMERA.height_px, CAMERA.width_px, 3)).round().astype(np.uint8)
        cv2.imwrite(str(tmp_path / photo.name), plain)
        photos.append(replace(photo, path=tmp_path / photo.name))
    with pytest.raises(InputError, match="points that two photos agree on"):
        dense.run(replace(_only(cast, 4), photos=tuple(photos)))


def test_photos_of_twice_the_size_are_worked_at_the_same_grain(cast: Block) -> None:
    """Oracle: half the angle a pixel, twice the pixels: the plan is the same but for the scale of work."""
    large = [_enlarged(photo, 4) for photo in cast.photos]
    plan, wide = pairs.make_plan(cast), pairs.make_plan(replace(cast, photos=tuple(large)))
    assert max(view.size_px[0] * view.size_px[1] for view in wide.views) < 1.01 * pairs.WORK_PX
    assert wide.partners == plan.partners
    assert wide.gsd_m < plan.gsd_m


def _enlarged(photo: PosedPhoto, factor: int) -> PosedPhoto:
    camera = photo.camera
    x, y = camera.centre_px
    return replace(
        photo,
        camera=replace(
            camera,
            width_px=factor * camera.width_px,
            height_px=factor * camera.height_px,
            focal_px=factor * camera.focal_px,
            centre_px=(factor * (x + 0.5) - 0.5, factor * (y + 0.5) - 0.5),
        ),
    )


def test_the_guiding_plane_has_no_disparity(cast: Block) -> None:
    """Oracle: the definition of the shear, for points of a level plane."""
    plan = pairs.make_plan(cast)
    frame = stereo._Frame.of(plan.views[0], plan.views[1], (np.array([0.0, 0.0, 1.0]), 2.0))
    assert frame is not None
    spots = np.column_stack([np.random.default_rng(3).uniform(-4, 4, (50, 2)), np.full(50, 2.0)])
    np.testing.assert_allclose(frame.of_points(spots)[1], 0.0, atol=1e-9)
    assert (np.abs(frame.of_points(spots + np.array([0.0, 0.0, 1.0]))[1]) > 2.0).all()


@pytest.mark.parametrize("shift", [0.0, 0.25, 0.45, -0.3])
@pytest.mark.parametrize("slant", [0.0, 0.06])
def test_disparities_are_right_to_a_part_of_a_pixel(shift: float, slant: float) -> None:
    """Oracle: a picture moved by a known amount, smooth enough that it is known between pixels."""
    rng = np.random.default_rng(7)
    fine = cv2.GaussianBlur(rng.normal(size=(160, 4 * 640)).astype(np.float32), (0, 0), 6.0, sigmaY=1.5)
    fine = 128 + 40 * fine / fine.std()
    x = np.arange(480)
    one = np.stack([np.interp(4 * (x + 80), np.arange(4 * 640), row) for row in fine])
    # right(x - d(x)) = left(x) with d = 12 + shift + slant (x - 240)
    back = (x + 12 + shift - 240 * slant) / (1 - slant)
    other = np.stack([np.interp(4 * (back + 80), np.arange(4 * 640), row) for row in fine])
    noisy = [np.rint(np.clip(p + rng.normal(0, 1.0, p.shape), 1, 255)).astype(np.uint8) for p in (one, other)]
    xx, yy = np.meshgrid(np.arange(480, dtype=np.float32), np.arange(160, dtype=np.float32))
    second = Second(image=noisy[1], column=xx, row=yy)
    found, sd = disparities(noisy[0].astype(np.float32), second, -16, 32)
    truth = 12 + shift + slant * (x - 240)
    error = (found - truth)[20:-20, 100:-100]
    assert np.isfinite(error).mean() > 0.9
    assert abs(np.nanmedian(error)) < 0.03
    assert np.nanstd(error) < 0.15
    assert np.nanmedian(sd) < 0.3
