"""marks.json: points that a person marked by name in photos.

Pixels of the photo as displayed (EXIF turn applied), (0, 0) the centre of the first pixel.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, ValidationError

from ..errors import InputError

MARKS_FILE = "marks.json"
MARKS_FORMAT = "slopewright-marks"
HALF_PX = 0.5  # a photo reaches half a pixel beyond the centres of its outermost ones

Pixel = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One point, by name, in the photos that show it."""

    name: str
    u_px: float  # standard uncertainty of each coordinate in each photo
    photos: Mapping[str, Pixel]  # file name to (x, y)


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """All marks of a job."""

    file: str  # for messages
    marks: tuple[Mark, ...] = ()

    def named(self, name: str) -> Mark | None:
        """The mark of this name."""
        return next((mark for mark in self.marks if mark.name == name), None)

    def check_against(self, sizes: Mapping[str, tuple[int, int]]) -> None:
        """Refuse marks outside of the photos as displayed.

        Parameters
        ----------
        sizes : mapping
            (width, height) [px] by file name of all photos of the job that could be read.

        Raises
        ------
        InputError
            Naming the mark and the photo.
        """
        for mark in self.marks:
            for photo, (x, y) in mark.photos.items():
                if photo not in sizes:
                    continue
                width, height = sizes[photo]
                if not (-HALF_PX <= x <= width - HALF_PX and -HALF_PX <= y <= height - HALF_PX):
                    raise InputError(
                        f'{self.file}: mark "{mark.name}": ({x:g}, {y:g}) is outside of {photo}, which is'
                        f" {width} x {height} px as displayed; need pixels of the photo at full size, upright"
                    )


def read_marks(path: Path) -> Marks:
    """Read a marks.json.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Marks

    Raises
    ------
    InputError
        If it cannot be read, is not of the format, or names a mark twice: one line with file, mark and need.
    """
    try:
        content = json.loads(path.read_text(encoding="utf-8"), object_pairs_hook=_no_key_twice)
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error
    except (ValueError, RecursionError) as error:  # also bytes that are not UTF-8; nested too deep
        raise InputError(f"{path}: not valid JSON: {error}") from error
    try:
        table = _MarksTable.model_validate(content)
    except ValidationError as error:
        raise InputError(f"{path}: {_first_fault(error, content)}") from error
    names: set[str] = set()
    for mark in table.marks:
        if mark.name in names:
            raise InputError(f'{path}: mark "{mark.name}" stands twice, need one entry with all its photos')
        names.add(mark.name)
    return Marks(
        file=str(path),
        marks=tuple(
            Mark(
                name=mark.name,
                u_px=mark.u_px,
                photos={photo: (x, y) for photo, (x, y) in mark.photos.items()},
            )
            for mark in table.marks
        ),
    )


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class _MarkTable(_Table):
    name: Annotated[str, Field(min_length=1, description="a text in quotes")]
    u_px: Annotated[
        float, Field(gt=0, allow_inf_nan=False, description="a number of pixels above 0, like 1.0")
    ]
    photos: Annotated[
        dict[str, Annotated[list[FiniteFloat], Field(min_length=2, max_length=2)]],
        Field(min_length=1, description='photos and pixels, like {"IMG_1.jpg": [812.4, 455.1]}'),
    ]


class _MarksTable(_Table):
    format: Annotated[Literal["slopewright-marks"], Field(description=f'"{MARKS_FORMAT}"')]
    version: Annotated[Literal[1], Field(description="1")]
    marks: Annotated[list[_MarkTable], Field(description="a list of marks")]


def _no_key_twice(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """JSON lets a key stand twice and readers keep the last: here a photo would lose a mark unseen."""
    keys = [key for key, _ in pairs]
    twice = next((key for key in keys if keys.count(key) > 1), None)
    if twice is not None:
        raise ValueError(f'key "{twice}" stands twice in one object')
    return dict(pairs)


def _first_fault(error: ValidationError, content: object) -> str:
    """The first fault in one line: mark, field, what was found, what is needed."""
    fault = error.errors(include_url=False)[0]
    location = list(fault["loc"])
    where, fields = "the file", _MarksTable.model_fields
    if location[:1] == ["marks"] and len(location) > 1 and isinstance(location[1], int):
        where, fields = _title(content, location[1]), _MarkTable.model_fields
        location = location[2:]
    key = str(location[0]) if location else ""
    if fault["type"] == "extra_forbidden":
        return f"{where}: unknown key {key} (allowed: {', '.join(fields)})"
    need = fields[key].description if key in fields else "an object with format, version and marks"
    path = " ".join(str(step) for step in location)
    if fault["type"] == "missing":
        return f"{where}: {path} missing, need {need}"
    shown = json.dumps(fault["input"], ensure_ascii=False)
    return f"{where}: {path + ': ' if path else ''}got {shown[:40]}, need {need}"


def _title(content: object, number: int) -> str:
    entry = content["marks"][number] if isinstance(content, dict) else None
    name = entry.get("name") if isinstance(entry, dict) else None
    return f'mark "{name}"' if isinstance(name, str) and name else f"mark {number + 1}"
