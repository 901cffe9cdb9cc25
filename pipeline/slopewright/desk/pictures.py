"""Photos as the page shows them: upright, so that pixels are those of marks.json, and small."""

from __future__ import annotations

import io
from pathlib import Path

from .jobfile import write_whole

QUALITY = 92  # of JPEG: marks are placed on the copy, its blocks must not show


def write_picture(photo: Path, target: Path, longest_px: int | None) -> None:
    """Write a photo as JPEG with its EXIF turn applied and all tags left out.

    Parameters
    ----------
    photo : Path
    target : Path
    longest_px : int or None
        Longest side of the copy; None keeps the size.

    Raises
    ------
    InputError
        If the photo cannot be read.
    """
    from PIL import Image

    from ..photos.read import load_pixels

    width, height = size_of(photo)
    share = min((longest_px or max(width, height)) / max(width, height), 1.0)
    size = (max(round(width * share), 1), max(round(height * share), 1))
    out = io.BytesIO()
    Image.fromarray(load_pixels(photo, size=size if share < 1 else None)).save(out, "JPEG", quality=QUALITY)
    write_whole(target, out.getvalue())


def size_of(photo: Path) -> tuple[int, int]:
    """Width and height [px] of a photo as displayed.

    Raises
    ------
    InputError
        If the photo cannot be read.
    """
    from ..photos.read import read_photo

    found = read_photo(photo)
    return found.width_px, found.height_px
