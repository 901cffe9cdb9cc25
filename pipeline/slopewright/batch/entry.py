"""One roof of a batch: what is measured, where in it, and under which name."""

from __future__ import annotations

import urllib.parse
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from ..errors import InputError

MAX_NAME_BYTES = 200  # of a folder; file systems allow 255, and staging folders add to it


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of the manifest."""

    id: str
    input_path: Path  # a cloud file or a job folder
    unit: str | None = None
    system: str | None = None
    at: tuple[float, float] | None = None  # in the cloud's own coordinates and unit
    footprint: Path | None = None  # GeoJSON, likewise
    footprint_m2: float | None = None  # its area, where the manifest drew it on a map

    @property
    def name(self) -> str:
        """The id as the name of a folder."""
        return folder_name(self.id)

    def as_json(self) -> dict[str, Any]:
        """Plain values, to hand to another process."""
        return {k: str(v) if isinstance(v, Path) else v for k, v in asdict(self).items()}

    @staticmethod
    def from_json(content: dict[str, Any]) -> Entry:
        """The entry that `as_json` was made of."""
        at, footprint = content["at"], content["footprint"]
        changed = {
            "input_path": Path(content["input_path"]),
            "at": tuple(at) if at else None,
            "footprint": Path(footprint) if footprint else None,
        }
        return Entry(**{**content, **changed})


def folder_name(identity: str) -> str:
    """An id as a file name that any system takes, and that no other id has: RFC 3986 percent-encoding.

    Raises
    ------
    InputError
        If the id is empty or too long.
    """
    try:
        name = urllib.parse.quote(identity, safe=" ,+()@")
    except UnicodeEncodeError as error:
        raise InputError(f"id {identity[:40]!a}: holds half a character, need text") from error
    if name.startswith("."):
        name = "%2E" + name[1:]
    if name.endswith((" ", ".")):
        name = f"{name[:-1]}%{ord(name[-1]):02X}"
    if not name or len(name) > MAX_NAME_BYTES:
        raise InputError(
            f"id {identity[:40]!r}: {len(name)} bytes as a file name, need 1 to {MAX_NAME_BYTES}"
        )
    return name


def check_unique(entries: tuple[Entry, ...], file: str) -> None:
    """Refuse two entries of one id, and names that differ in capitals only: one folder cannot hold both.

    Raises
    ------
    InputError
        Naming the id.
    """
    seen: dict[str, str] = {}
    for entry in entries:
        key = entry.name.casefold()
        if key in seen:
            also = "" if seen[key] == entry.id else f" (also {seen[key][:40]!r})"
            raise InputError(f"{file}: id {entry.id[:40]!r} stands there twice{also}, need one line a roof")
        seen[key] = entry.id
