"""A folder that appears whole or not at all, and never at the cost of somebody else's files."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from ..errors import InputError
from .record import RECORD_FILE, RunRecord


def previous_run(folder: Path) -> RunRecord | None:
    """The run that a folder holds, or None where there is no folder or an empty one.

    Raises
    ------
    InputError
        If the path is a file, or a folder of something else: it is left alone, whatever is asked.
    """
    if not folder.exists():
        return None
    if not folder.is_dir():
        raise InputError(f"{folder}: a file is in the way of the run folder, choose another with --out")
    if not (folder / RECORD_FILE).exists():
        if any(folder.iterdir()):
            raise InputError(
                f"{folder}: exists and is not a run folder (no {RECORD_FILE}), choose another with --out"
            )
        return None
    return RunRecord.read(folder)


@contextmanager
def written_whole(folder: Path, previous: RunRecord | None) -> Iterator[Path]:
    """Give a staging folder; put it in place of `folder` when the block ends well, remove it when not.

    Files of `folder` that the previous run did not write are carried over.

    Raises
    ------
    InputError
        If no folder can be made there.
    """
    folder = folder.resolve()
    missing = [parent for parent in folder.parents if not parent.exists()]
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    except OSError as error:
        raise InputError(
            f"{folder}: cannot be written ({error.strerror}), choose another run folder with --out"
        ) from error
    try:
        os.chmod(staging, 0o777 & ~_umask())  # mkdtemp makes it private
        yield staging
        _replace(folder, staging, previous)
    finally:
        shutil.rmtree(staging, ignore_errors=True)
        if not folder.exists():
            _remove_empty(missing)


def _replace(folder: Path, staging: Path, previous: RunRecord | None) -> None:
    if not folder.exists():
        staging.rename(folder)
        return
    own = {name.split("/")[0] for name in previous.files} if previous else set()
    for path in folder.iterdir():
        if path.name not in own and not (staging / path.name).exists():
            _copy(path, staging / path.name)
    aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    try:
        folder.rename(aside / folder.name)
        try:
            staging.rename(folder)
        except OSError:
            (aside / folder.name).rename(folder)
            raise
    finally:
        if folder.exists():
            shutil.rmtree(aside, ignore_errors=True)


def _remove_empty(folders: list[Path]) -> None:
    """Take back the parents that were made, innermost first."""
    for made in folders:
        with suppress(OSError):
            made.rmdir()


def _copy(source: Path, target: Path) -> None:
    if source.is_dir():
        shutil.copytree(source, target, symlinks=True)
    else:
        shutil.copy2(source, target, follow_symlinks=False)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
