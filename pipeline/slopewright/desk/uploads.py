"""Receiving a file: bytes are appended as they come, and the file appears in its job when it is whole.

Whatever broke, the sender asks how much arrived and goes on from there.
"""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import AsyncIterator
from contextlib import suppress
from pathlib import Path

from starlette.concurrency import run_in_threadpool

from ..errors import InputError
from .jobfile import FormFault, checked
from .kinds import HEAD_BYTES, check_head, check_size, kind_of
from .places import Places

SPARE_BYTES = 2**30  # of the disk that stay free: results and the system need some
MOST_FILES = 5000  # of a job; a flight has hundreds
STALE_DAYS = 14  # that half a file is kept


class OffsetError(InputError):
    """The sender is not where the file is."""

    def __init__(self, received: int) -> None:
        super().__init__(f"{received} bytes are here, need the file from there on")
        self.received = received


class Receiver:
    """The uploads of a server; each file has one sender at a time."""

    def __init__(self, places: Places) -> None:
        self._places = places
        self._open: set[Path] = set()

    def received(self, job: str, name: str, n_bytes: int) -> int:
        """How many bytes of a file are here."""
        part = self._places.part(job, name, n_bytes)
        return part.stat().st_size if part.exists() else 0

    async def receive(
        self,
        job: str,
        name: str,
        *,
        n_bytes: int,
        offset: int,
        replace: bool,
        stream: AsyncIterator[bytes],
    ) -> int:
        """Append what a request brings.

        Parameters
        ----------
        job, name : str
        n_bytes : int
            Size of the whole file.
        offset : int
            Where the request's bytes begin; must be what `received` says.
        replace : bool
            Whether a file of that name may be replaced.
        stream : async iterator of bytes

        Returns
        -------
        int
            Bytes of the file that are here now: all, and it is in its job; or fewer, to be gone on from.

        Raises
        ------
        OffsetError
            If the offset is another.
        InputError
            If kind, size, content or name are refused, or the disk has no room.
        """
        check_size(name, n_bytes)
        part, target = self._places.part(job, name, n_bytes), self._places.file(job, name)
        if target.exists() and not replace:
            raise InputError(f"{name}: this job has a file of that name already, replace it or leave it out")
        if part in self._open:
            raise InputError(f"{name}: is being sent already, by another page?")
        part.parent.mkdir(parents=True, exist_ok=True)
        have = self.received(job, name, n_bytes)
        if have != offset:
            raise OffsetError(have)
        if not have:
            self._check_room(target, n_bytes)
        self._open.add(part)
        try:
            have = await _append(part, name, have, n_bytes, stream)
            if have == n_bytes:
                await run_in_threadpool(_settle, part, target)
        except InputError:
            part.unlink(missing_ok=True)
            raise
        finally:
            self._open.discard(part)
        return have

    def drop_stale(self) -> None:
        """Remove halves of files that nobody went on with."""
        oldest = time.time() - STALE_DAYS * 86400
        for part in (self._places.desk / "uploads").rglob("*.part"):
            with suppress(OSError):
                if part.stat().st_mtime < oldest:
                    part.unlink()

    def _check_room(self, target: Path, n_bytes: int) -> None:
        free = shutil.disk_usage(target.parent).free - SPARE_BYTES
        if n_bytes > free:
            spare = max(free, 0) / 2**20
            raise InputError(
                f"{target.name}: {n_bytes / 2**20:,.0f} MB, the disk has {spare:,.0f} MB to spare"
            )
        if sum(1 for _ in target.parent.iterdir()) >= MOST_FILES:
            raise InputError(f"{target.name}: the job has {MOST_FILES} files already, need another job")


async def _append(part: Path, name: str, have: int, n_bytes: int, stream: AsyncIterator[bytes]) -> int:
    with part.open("ab") as out:
        async for chunk in stream:
            if not chunk:
                continue
            if have + len(chunk) > n_bytes:
                raise InputError(f"{name}: more bytes came than the {n_bytes} that were announced")
            out.write(chunk)
            before, have = have, have + len(chunk)
            if before < HEAD_BYTES:
                out.flush()
                await run_in_threadpool(_check_start, part, name, whole=have == n_bytes)
    return have


def _check_start(part: Path, name: str, *, whole: bool) -> None:
    with part.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    if whole or len(head) == HEAD_BYTES:
        check_head(name, head)


def _settle(part: Path, target: Path) -> None:
    """Put a whole file in its place; a job.toml must be one."""
    if kind_of(target.name).name == "job":
        try:
            checked(part.read_text(encoding="utf-8"))
        except UnicodeDecodeError as error:
            raise InputError(f"{target.name}: not UTF-8 text at byte {error.start}") from error
        except FormFault as error:
            raise InputError(f"{target.name}: {error}") from error
    if kind_of(target.name).name == "marks":
        from ..photos.marks import read_marks

        read_marks(part)
    with part.open("rb") as stream:
        os.fsync(stream.fileno())
    os.replace(part, target)
