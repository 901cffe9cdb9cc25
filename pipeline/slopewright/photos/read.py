"""Photos as files: what EXIF says of them, and their pixels upright.

Widths, heights and pixels are of the photo as displayed: the EXIF turn is applied on reading.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from ..errors import InputError

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

Pixels = npt.NDArray[np.uint8]

MAX_PIXELS = 250_000_000  # of one photo; beyond it an upright copy alone takes most of a gigabyte
DIAGONAL_35MM = math.hypot(36.0, 24.0)  # [mm] of the frame that EXIF's equivalent focal length is about
QUARTER_TURNS = frozenset({5, 6, 7, 8})  # EXIF orientations that swap width and height
# EXIF 2.32 (CIPA DC-008-2019), 4.6: numbers of the tags
MAKE, MODEL, ORIENTATION, EXIF_IFD, GPS_IFD = 0x010F, 0x0110, 0x0112, 0x8769, 0x8825
TIME, FOCAL_MM, FOCAL_35MM = 0x9003, 0x920A, 0xA405
LATITUDE_REF, LATITUDE, LONGITUDE_REF, LONGITUDE, ALTITUDE_REF, ALTITUDE = 1, 2, 3, 4, 5, 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """A photo as its file describes it."""

    name: str  # of the file, as marks.json has it
    path: Path
    width_px: int
    height_px: int
    camera: str  # the same text for photos of one camera at one zoom and turn
    focal_px: float | None  # by EXIF, None where it does not say
    gps: tuple[float, float, float] | None  # latitude [deg], longitude [deg], altitude [m]
    time: str | None  # as EXIF has it, "2026:05:14 10:00:00": it sorts


def read_photo(path: Path) -> Photo:
    """What a photo's file says of it, without its pixels.

    Parameters
    ----------
    path : Path
        JPEG, PNG, TIFF or HEIC.

    Returns
    -------
    Photo

    Raises
    ------
    InputError
        If it is no such file, or larger than any camera makes it.

    References
    ----------
    .. [1] CIPA DC-008-2019 (EXIF 2.32), 4.6.5: the equivalent focal length is about a frame of 36 by 24 mm.
    """
    with _opened(path) as image:
        width, height = image.size
        exif = image.getexif()
        more, gps = exif.get_ifd(EXIF_IFD), exif.get_ifd(GPS_IFD)
        turn = exif.get(ORIENTATION, 1)
    if turn in QUARTER_TURNS:
        width, height = height, width
    focal_mm, focal_35mm = _number(more.get(FOCAL_MM)), _number(more.get(FOCAL_35MM))
    maker = " ".join(str(exif.get(tag, "")).strip("\0 ") for tag in (MAKE, MODEL)).strip()
    time = more.get(TIME)
    return Photo(
        name=path.name,
        path=path,
        width_px=width,
        height_px=height,
        camera=f"{maker}|{focal_mm or 0:g}|{focal_35mm or 0:g}|{width}x{height}|{turn}",
        focal_px=focal_35mm / DIAGONAL_35MM * math.hypot(width, height) if focal_35mm else None,
        gps=_position(gps),
        time=time.strip("\0 ") if isinstance(time, str) and time.strip("\0 ") else None,
    )


def load_pixels(path: Path, *, size: tuple[int, int] | None = None) -> Pixels:
    """The pixels of a photo, upright, red, green and blue.

    Parameters
    ----------
    path : Path
    size : (width, height) [px], optional
        Scale to this size; by default as large as it is.

    Returns
    -------
    array, shape (height, width, 3), uint8

    Raises
    ------
    InputError
        If the file cannot be read to its end.

    Notes
    -----
    A pixel x of a photo of width w lies at (x + 0.5) v / w - 0.5 of one that is scaled to width v.
    """
    from PIL import Image, ImageOps

    with _opened(path) as image:
        turned = image.getexif().get(ORIENTATION, 1) in QUARTER_TURNS
        if size is not None:
            image.draft("RGB", size[::-1] if turned else size)  # a JPEG then comes at a half, a quarter, ...
        if image.mode in ("I;16", "I;16B", "I;16L", "I", "F"):
            image = _eight_bits(image)
        upright = ImageOps.exif_transpose(image).convert("RGB")
        if size is not None and upright.size != size:
            upright = upright.resize(size, Image.Resampling.BOX)
        return np.asarray(upright).copy()


@contextmanager
def _opened(path: Path) -> Iterator[Picture]:
    """The image behind a path; whatever its file does wrong is told in one line."""
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd EXIF and large images: both are judged here
            with Image.open(path, formats=("JPEG", "PNG", "TIFF", "HEIF")) as image:
                if image.width * image.height > MAX_PIXELS:
                    raise InputError(
                        f"{path}: {image.width} x {image.height} px, need at most"
                        f" {MAX_PIXELS // 10**6} megapixels"
                    )
                yield image
    except FileNotFoundError as error:
        raise InputError(f"{path}: no such file") from error
    except InputError:
        raise
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError, Image.DecompressionBombError) as error:
        said = " ".join(str(error).replace(str(path), path.name).split()) or type(error).__name__
        raise InputError(
            f"{path}: cannot be read as a photo ({said}), need a whole JPEG, PNG, TIFF or HEIC"
        ) from error


def _eight_bits(image: Picture) -> Picture:
    """Grey levels of more than eight bits as eight, the brightest one white."""
    from PIL import Image

    levels = np.asarray(image, dtype=np.float64)
    return Image.fromarray((levels * (255.0 / max(float(levels.max()), 1.0))).astype(np.uint8))


def _number(value: object) -> float | None:
    """A positive finite number of EXIF, or None."""
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _position(gps: dict[int, object]) -> tuple[float, float, float] | None:
    latitude = _angle(gps.get(LATITUDE), gps.get(LATITUDE_REF) == "S")
    longitude = _angle(gps.get(LONGITUDE), gps.get(LONGITUDE_REF) == "W")
    if latitude is None or longitude is None or abs(latitude) > 90 or abs(longitude) > 180:
        return None
    if latitude == 0 and longitude == 0:  # what receivers write before they know
        return None
    altitude = _number(gps.get(ALTITUDE)) or 0.0
    return latitude, longitude, -altitude if gps.get(ALTITUDE_REF) in (b"\x01", 1) else altitude


def _angle(value: object, negative: bool) -> float | None:
    """Degrees, minutes and seconds as degrees."""
    try:
        degrees, minutes, seconds = (float(part) for part in value)  # type: ignore[attr-defined]
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    angle = degrees + minutes / 60 + seconds / 3600
    if not math.isfinite(angle):
        return None
    return -angle if negative else angle
