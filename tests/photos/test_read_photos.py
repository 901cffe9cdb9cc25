"""Photos are read upright, with what EXIF says; those that can only do harm are left out with the reason."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageFilter
from scipy.ndimage import gaussian_filter

from slopewright.errors import InputError
from slopewright.photos.read import load_pixels, read_photo
from slopewright.photos.triage import matching_size, triage


def picture(width: int = 640, height: int = 480, *, seed: int = 0) -> Image.Image:
    """Blots of brown, the upper left quarter white."""
    rng = np.random.default_rng(seed)
    noise = gaussian_filter(rng.normal(size=(height, width, 1)), (1.2, 1.2, 0))
    levels = np.clip([140, 110, 80] + 260 * noise, 0, 200)
    levels[: height // 2, : width // 2] = 255
    return Image.fromarray(levels.astype(np.uint8))


@pytest.mark.parametrize("turn", range(1, 9))
def test_the_turn_of_exif_is_applied(tmp_path: Path, turn: int) -> None:
    """Oracle: CIPA DC-008, 4.6.4: which side of the stored rows is up; the white corner must come back."""
    stored = {
        1: [],
        2: [Image.Transpose.FLIP_LEFT_RIGHT],
        3: [Image.Transpose.ROTATE_180],
        4: [Image.Transpose.FLIP_TOP_BOTTOM],
        5: [Image.Transpose.TRANSPOSE],
        6: [Image.Transpose.ROTATE_90],
        7: [Image.Transpose.TRANSVERSE],
        8: [Image.Transpose.ROTATE_270],
    }[turn]
    image = picture()
    for step in stored:
        image = image.transpose(step)
    exif = Image.Exif()
    exif[0x0112] = turn
    image.save(tmp_path / "a.jpg", quality=95, exif=exif)
    photo = read_photo(tmp_path / "a.jpg")
    pixels = load_pixels(tmp_path / "a.jpg")
    assert (photo.width_px, photo.height_px) == (640, 480) == pixels.shape[1::-1]
    assert pixels[20:200, 20:300].min() > 240
    assert pixels[260:, 340:].max() < 240
    assert load_pixels(tmp_path / "a.jpg", size=(160, 120))[5:50, 5:70].min() > 240


def test_focal_length_is_that_of_the_35_mm_frame(tmp_path: Path) -> None:
    """Oracle: CIPA DC-008, 4.6.5: 24 mm on a diagonal of 43.267 mm, here on one of 800 px."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 24
    exif.get_ifd(0x8825).update({1: "S", 2: (38.0, 30.0, 36.0), 3: "W", 4: (97.0, 0.0, 0.0), 6: 12.5})
    picture().save(tmp_path / "a.jpg", exif=exif)
    photo = read_photo(tmp_path / "a.jpg")
    assert photo.focal_px == pytest.approx(24 / 43.2666 * 800, rel=1e-5)
    assert photo.gps == pytest.approx((-38.51, -97.0, 12.5))


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "heic"])
def test_formats_are_read_alike(tmp_path: Path, suffix: str) -> None:
    pillow_heif.register_heif_opener()
    path = tmp_path / f"a.{suffix}"
    picture().save(path, quality=95)
    whole = np.asarray(picture(), dtype=float)
    assert np.abs(load_pixels(path) - whole).mean() < 4  # levels; PNG and TIFF lose nothing
    assert read_photo(path).focal_px is None


def test_bright_levels_of_a_tiff_of_sixteen_bits_are_kept(tmp_path: Path) -> None:
    levels = np.linspace(0, 40000, 400 * 400).reshape(400, 400).astype(np.uint16)
    Image.fromarray(levels).save(tmp_path / "a.tif")
    pixels = load_pixels(tmp_path / "a.tif")
    assert pixels.max() >= 254
    assert pixels[200, 200, 0] == pytest.approx(128, abs=2)


def test_a_scaled_photo_is_the_mean_of_what_each_pixel_covers(tmp_path: Path) -> None:
    """Oracle: area average, so that pixel centres lie where the note of load_pixels says."""
    picture().save(tmp_path / "a.png")
    whole = np.asarray(picture(), dtype=float)
    mean = whole.reshape(120, 4, 160, 4, 3).mean(axis=(1, 3))
    assert np.abs(load_pixels(tmp_path / "a.png", size=(160, 120)) - mean).max() <= 1.0


@pytest.mark.parametrize(
    ("whole", "small"),
    [
        ((4032, 3024), (1600, 1200)),
        ((3024, 4032), (1200, 1600)),
        ((5472, 3648), (1599, 1066)),
        ((800, 600), (800, 600)),
    ],
)
def test_matching_size_keeps_the_proportion(whole: tuple[int, int], small: tuple[int, int]) -> None:
    """Oracle: 4 to 3 and 3 to 2 as whole numbers of pixels."""
    assert matching_size(*whole) == small


def test_triage_names_what_is_wrong_with_each_photo(tmp_path: Path) -> None:
    good = picture(seed=1)
    good.save(tmp_path / "a_good.jpg", quality=90)
    good.save(tmp_path / "b_again.jpg", quality=80)
    Image.new("RGB", (640, 480), (3, 3, 3)).save(tmp_path / "c_black.jpg")
    picture(seed=2).filter(ImageFilter.GaussianBlur(6)).save(tmp_path / "d_blurred.jpg")
    shutil.copy(tmp_path / "a_good.jpg", tmp_path / "e_cut.jpg")
    with (tmp_path / "e_cut.jpg").open("r+b") as stream:
        stream.truncate(20_000)
    (tmp_path / "f_text.jpg").write_text("no photo")
    good.resize((160, 120)).save(tmp_path / "g_small.jpg")
    picture(seed=3).save(tmp_path / "h_good.jpg")
    sorted_out = triage(tuple(tmp_path.iterdir()))
    assert [usable.photo.name for usable in sorted_out.usable] == ["a_good.jpg", "h_good.jpg"]
    why = dict(sorted_out.left_out)
    assert why["b_again.jpg"] == "the same picture as a_good.jpg"
    assert "blank" in why["c_black.jpg"]
    assert "blurred" in why["d_blurred.jpg"]
    assert "truncated" in why["e_cut.jpg"]
    assert "cannot be read as a photo" in why["f_text.jpg"]
    assert "thumbnail" in why["g_small.jpg"]
    assert all("\n" not in reason and str(tmp_path) not in reason for reason in why.values())


def test_a_missing_photo_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nowhere\.jpg: no such file"):
        load_pixels(tmp_path / "nowhere.jpg")
