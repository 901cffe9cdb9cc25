"""Pictures that photos gave, for the report: what photos/index.json lists, made small enough for pages."""

from __future__ import annotations

import base64
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from ..errors import InputError
from .jsonfile import Field

FORMAT = "slopewright-photos"
VERSION = 1
MOST_PX = 1100  # longer side on a page: 180 mm at 155 dots an inch
QUALITY = 78  # of JPEG
MOST_PICTURES = 40  # a report is read; the folder has them all


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One picture with what it shows."""

    content: bytes  # as it lies in the folder
    plane: str | None  # seen square on; None: a photo with planes and edges over it
    planes: tuple[str, ...]
    photo: str = ""  # name of the photo, or of those that were blended
    px_per_m: float | None = None
    top: str = ""  # what is up in the picture


def pictures_of(index: Any, files: Mapping[str, bytes], *, file: str) -> tuple[Picture, ...]:
    """The pictures that an index lists and that are there, in its order.

    Parameters
    ----------
    index : dict
        Content of photos/index.json.
    files : mapping of str to bytes
        By name below the run folder.
    file : str
        The index's name, for messages.

    Raises
    ------
    InputError
        If the index is not as it was written.
    """
    root = Field(file, index)
    root.header(FORMAT, VERSION)
    found: list[Picture] = []
    for entry in root["files"]:
        name = entry["file"].text()
        content = files.get(name)
        if content is None or len(found) == MOST_PICTURES:
            continue
        planes = entry["planes"].texts()
        members = entry.members()
        square_on = entry["shows"].text() == "plane square on" and len(planes) == 1
        photos = entry["from"].texts() if "from" in members else ()
        found.append(
            Picture(
                content=content,
                plane=planes[0] if square_on else None,
                planes=planes,
                photo=entry["photo"].text() if "photo" in members else ", ".join(photos),
                px_per_m=entry["px_per_m"].number(0.0) if "px_per_m" in members else None,
                top=str(entry["top"].value) if "top" in members else "",
            )
        )
    return tuple(found)


def as_svg(content: bytes, *, name: str = "picture") -> tuple[str, float]:
    """A picture as a drawing that holds it, at most `MOST_PX` long; and its width over its height.

    Raises
    ------
    InputError
        If it is no picture.
    """
    from PIL import Image, UnidentifiedImageError  # only where there are photos

    try:
        with Image.open(io.BytesIO(content)) as opened:
            opened.thumbnail((MOST_PX, MOST_PX))
            small = opened.convert("RGB")
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as error:
        raise InputError(f"{PurePosixPath(name).name}: no picture that can be read, need a JPEG") from error
    stream = io.BytesIO()
    small.save(stream, "JPEG", quality=QUALITY)
    data = base64.b64encode(stream.getvalue()).decode("ascii")
    width, height = small.size
    drawing = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="{width}"'
        f' height="{height}" viewBox="0 0 {width} {height}"><image width="{width}" height="{height}"'
        f' xlink:href="data:image/jpeg;base64,{data}"/></svg>'
    )
    return drawing, width / height
