"""Where a batch keeps its files, written aside and renamed; one batch at a time in a folder."""

from __future__ import annotations

import fcntl
import json
import os
import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from ..errors import InputError

BATCH_FILE = "batch.json"
FORMAT, VERSION = "slopewright-batch", 1
LOCK_FILE = ".lock"
STAGING = re.compile(r"\.(?P<name>.+)\.[a-z0-9_]{8}")  # how a run folder is named while it is written


class Places:
    """The folder of a batch."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self.runs = self.folder / "runs"  # a run folder a roof, by id
        self.rows = self.folder / "rows"  # how each job ended, so that what is finished is not repeated
        self.cuts = self.folder / "cuts"  # points of single roofs, cut from tiles
        self.parts = self.cuts / "parts"  # of each tile's, until they are joined

    def run(self, name: str) -> Path:
        """The run folder of an entry."""
        return self.runs / name

    def row(self, name: str) -> Path:
        """The file of an entry's row."""
        return self.rows / f"{name}.json"

    @contextmanager
    def held(self) -> Iterator[None]:
        """Make the folder, and hold it against a second batch.

        Raises
        ------
        InputError
            If it cannot be made, holds something else, or another batch runs in it.
        """
        if self.folder.exists() and not self.folder.is_dir():
            raise InputError(f"{self.folder}: a file is in the way, choose another folder with --out")
        strange = (
            self.folder.exists() and not (self.folder / LOCK_FILE).exists() and any(self.folder.iterdir())
        )
        if strange:
            raise InputError(f"{self.folder}: exists and holds no batch, choose another folder with --out")
        try:
            for folder in (self.folder, self.runs, self.rows):
                folder.mkdir(parents=True, exist_ok=True)
            lock = os.open(self.folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o666)
        except OSError as error:
            raise InputError(
                f"{self.folder}: cannot be written ({error.strerror}), choose another --out"
            ) from error
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            self._clear_leftovers()
            yield
        except BlockingIOError as error:
            raise InputError(f"{self.folder}: another batch runs in it, wait for its end") from error
        finally:
            os.close(lock)

    def _clear_leftovers(self) -> None:
        """Take away what a killed job was writing; a finished run that it had moved aside goes back."""
        folders = [f for f in (self.folder, self.runs, self.rows, self.cuts, self.parts) if f.exists()]
        for path in [path for folder in folders for path in folder.iterdir()]:
            found = STAGING.fullmatch(path.name)
            if found is None:
                continue
            if path.is_dir():
                moved, place = path / found["name"], path.with_name(found["name"])
                if moved.is_dir() and not place.exists():
                    moved.rename(place)
                shutil.rmtree(path, ignore_errors=True)
            else:
                path.unlink()


def write_whole(path: Path, content: bytes) -> None:
    """Write a file aside and rename it: it is there whole or not at all.

    Raises
    ------
    OSError
        If it cannot be written; nothing is left of it.
    """
    write_together({path: content})


def write_together(contents: Mapping[Path, bytes]) -> None:
    """Write files aside, and rename them when all are written.

    Raises
    ------
    OSError
        If one cannot be written; all are then as they were.
    """
    asides = {path: path.with_name(f".{path.name}.{os.getpid() % 10**8:08d}") for path in contents}
    try:
        for path, content in contents.items():
            asides[path].write_bytes(content)
        for path, aside in asides.items():
            aside.replace(path)
    finally:
        for aside in asides.values():
            with suppress(OSError):
                aside.unlink(missing_ok=True)


def json_bytes(content: dict[str, Any]) -> bytes:
    """A file of ours as JSON."""
    return (json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode(
        "utf-8", "replace"
    )
