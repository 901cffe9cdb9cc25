"""One job of a batch, in a process that may be killed: measure, and say how it ended."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

from ..errors import InputError, SlopewrightError
from ..intent import ROOF_ONLY, Intent, Options
from ..job import load_job
from ..run import measure
from ..runfolder import RunRecord
from .entry import Entry
from .measured_row import measured_row
from .places import Places, json_bytes, write_whole
from .row import FINAL, MEASURED, Row, Status

MAX_CAUSES = 8  # steps back from an error to its cause


def finished(entry: Entry, places: Places, files: str, metric: bool) -> Row | None:
    """The row of a job that was finished before, of the same inputs, options and program; else None."""
    try:
        row = Row.from_json(json.loads(places.row(entry.name).read_bytes()))
        if not _is_plain(entry) or row.id != entry.id or row.status not in FINAL or not row.key:
            return None
        if row.key != _key(entry, files, metric):
            return None
        if row.status in MEASURED:
            folder = places.run(entry.name)
            record = RunRecord.read(folder)
            if record.takeoff_key != row.key or not record.is_intact(folder):
                return None
        return row
    except (OSError, ValueError, KeyError, TypeError, AttributeError):  # whatever it is, it is not finished
        return None


def measured(entry: Entry, places: Places, files: str, metric: bool) -> Row:
    """Measure an entry into its run folder, and leave its row behind.

    Returns
    -------
    Row
        Whatever happens, but for the death of the process.
    """
    key = ""
    try:
        key = _key(entry, files, metric)
        folder = places.run(entry.name)
        if files != ROOF_ONLY:  # a job that is killed over its drawings starts from its roof again
            measure(entry.input_path, folder, _options(entry, ROOF_ONLY, metric))
        result = measure(entry.input_path, folder, _options(entry, files, metric))
        row = measured_row(entry.id, result, entry.footprint_m2)
    except MemoryError:
        row = Row(id=entry.id, status=Status.MEMORY, key=key)
    except Exception as error:
        row = _failed(entry, error, key)
    with suppress(OSError):  # a full disk: the row is not kept, and the job is done again next time
        write_whole(places.row(entry.name), json_bytes(row.as_json()))
    return row


def _options(entry: Entry, files: str, metric: bool) -> Options:
    return Options(
        unit=entry.unit,
        at=entry.at,
        footprint=entry.footprint,
        system=entry.system,
        metric=metric,
        files=files,
    )


def _key(entry: Entry, files: str, metric: bool) -> str:
    return Intent.of_job(load_job(entry.input_path), _options(entry, files, metric)).takeoff_key


def _failed(entry: Entry, error: Exception, key: str) -> Row:
    causes = _causes(error)
    text = " ".join(str(error).split())
    if any(isinstance(cause, MemoryError) for cause in causes):
        return Row(id=entry.id, status=Status.MEMORY, key=key)
    if any(isinstance(cause, OSError) for cause in causes):
        return Row(id=entry.id, status=Status.FAILED, reason=text, key=key)
    if isinstance(error, InputError):
        return Row(id=entry.id, status=Status.REFUSED, reason=text, key=key)
    if not isinstance(error, SlopewrightError):
        text = f"internal failure, {type(error).__name__}: {text}"
    return Row(id=entry.id, status=Status.FAILED, reason=text, key=key)


def _causes(error: BaseException) -> list[BaseException]:
    chain: list[BaseException] = []
    step: BaseException | None = error
    while step is not None and len(chain) < MAX_CAUSES:
        chain.append(step)
        step = step.__cause__ or step.__context__
    return chain


def _is_plain(entry: Entry) -> bool:
    """Whether nothing of the input can block who opens it: pipes and devices are left to the job itself."""
    path = entry.input_path
    parts: list[Path] = list(path.iterdir()) if path.is_dir() else [path]
    return all(part.is_file() or part.is_dir() for part in parts)
