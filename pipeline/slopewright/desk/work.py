"""What `hands` does: functions of a folder and plain values, so that they cross to another process."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from .places import Places


def amend(folder: Path, edit: dict[str, Any]) -> None:
    """Correct the roof of a run folder.

    Raises
    ------
    InputError
        If the correction is none, or cannot be made.
    """
    from .. import run
    from ..report.journal import journal_from_json
    from ..report.jsonfile import Field

    run.amend(folder, journal_from_json(Field("correction", [edit])))


def undo(folder: Path) -> None:
    """Take back the last correction of a run folder.

    Raises
    ------
    InputError
        If there is none.
    """
    from .. import run

    run.undo(folder)


def measure_again(job_folder: Path, folder: Path, options: dict[str, Any]) -> None:
    """Bring a run folder up to its job.toml; the roof, which does not hang on it, is not measured again.

    Raises
    ------
    InputError
        If job.toml cannot be used, or the folder holds another roof than these inputs give.
    """
    from .. import run
    from ..intent import Options

    at = options["at"]
    run.measure(
        job_folder, folder, Options(at=(at[0], at[1]) if at else None, metric=bool(options["metric"]))
    )


def take_off(folder: Path, system: str | None, metric: bool) -> None:
    """Quantities and drawings of a run folder by another system or in other units.

    Raises
    ------
    InputError
        If the system cannot be used.
    """
    from .. import run

    run.take_off(folder, system, metric=metric)


def tape(folder: Path, table: Path, adjust: bool) -> None:
    """Hold a table of tape measurements against the roof of a run folder.

    Raises
    ------
    InputError
        With the line of the table that cannot be used.
    """
    from .. import run

    run.tape(folder, table, adjusting=adjust)


def compare(folder: Path, table: Path, names: Path | None) -> None:
    """Hold another party's quantities against those of a run folder.

    Raises
    ------
    InputError
        With the line of the table that cannot be used.
    """
    from .. import run

    run.compare(folder, table, names)


def points(root: Path, job: str) -> Path:
    """The file of points that the page draws."""
    from .points import write_points

    return write_points(Places(root), job)


def preview(photo: Path, target: Path, longest_px: int | None) -> None:
    """A photo upright, as JPEG without its tags; at most so long.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    from .pictures import write_picture

    write_picture(photo, target, longest_px)
