"""What a batch measures: a table with a line a roof, or a folder of jobs."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from pathlib import Path

from ..errors import InputError
from ..units import METRES_PER_UNIT
from .entry import Entry, check_unique

COLUMNS = ("id", "input", "unit", "system", "at_x", "at_y", "footprint")
NEEDED = ("id", "input")
SEPARATORS = (",", ";", "\t")


def read_manifest(path: Path) -> tuple[Entry, ...]:
    """The roofs of a table or of a folder of jobs, in their order.

    Parameters
    ----------
    path : Path
        A CSV file with the columns id and input, and if wanted unit, system, at_x, at_y, footprint; paths
        in it start at its own folder.  Or a folder: each folder in it that holds a job.toml or a cloud, and
        each cloud in it, is a job whose id is its name.

    Raises
    ------
    InputError
        If the table itself cannot be used, naming line and column.  That an input is missing or bad is
        not looked at here: it becomes a row of the results.
    """
    if path.is_dir():
        entries = tuple(_of_folder(path))
        if not entries:
            raise InputError(f"{path}: no job in this folder, need folders with a job.toml or clouds")
    elif path.exists():
        entries = tuple(_of_table(path))
        if not entries:
            raise InputError(f"{path}: no line below the header, need one a roof")
    else:
        raise InputError(f"{path}: no such file or folder, need a CSV table or a folder of jobs")
    check_unique(entries, str(path))
    return entries


def _of_folder(folder: Path) -> Iterator[Entry]:
    from ..job.load import CLOUD_SUFFIXES, JOB_FILE, PHOTO_SUFFIXES, TEXT_SUFFIXES  # a second: not for tables

    suffixes = CLOUD_SUFFIXES + TEXT_SUFFIXES + PHOTO_SUFFIXES
    for path in sorted(folder.iterdir()):
        if path.name.startswith(".") or (path / "run.json").exists():
            continue
        if path.is_dir():
            if any(file.name == JOB_FILE or file.suffix.lower() in suffixes for file in path.iterdir()):
                yield Entry(id=path.name, input_path=path)
        elif path.suffix.lower() in CLOUD_SUFFIXES:
            yield Entry(id=path.name, input_path=path)


def _of_table(path: Path) -> Iterator[Entry]:
    rows = _rows(path)
    header = [cell.strip().lower() for cell in next(rows, (0, [""]))[1]]
    if header[:1] == [""] and len(header) == 1:
        raise InputError(f"{path}: empty, need a header line ({', '.join(COLUMNS)})")
    unknown = [name for name in header if name not in COLUMNS]
    missing = [name for name in NEEDED if name not in header]
    if unknown or missing or len(set(header)) < len(header):
        fault = f"column {unknown[0][:40]!r} is not known" if unknown else "a column stands there twice"
        fault = f"no column {missing[0]!r}" if missing and not unknown else fault
        raise InputError(f"{path}: line 1: {fault}, need id, input and if wanted {', '.join(COLUMNS[2:])}")
    for line, cells in rows:
        if not any(cell.strip() for cell in cells):
            continue
        where = f"{path}: line {line}"
        if len(cells) != len(header):
            raise InputError(f"{where}: {len(cells)} cells, need {len(header)} as in the header")
        cell = dict(zip(header, (c.strip() for c in cells), strict=True))
        yield _entry(cell, path.parent, where)


def _entry(cell: dict[str, str], folder: Path, where: str) -> Entry:
    for name in NEEDED:
        if not cell[name]:
            raise InputError(f"{where}: {name}: empty, need one")
    unit = cell.get("unit") or None
    if unit is not None and unit not in METRES_PER_UNIT:
        raise InputError(f"{where}: unit: {unit[:40]!r}, need m, ft or us-ft, or nothing")
    at = [cell.get(name, "") for name in ("at_x", "at_y")]
    if any(at) and cell.get("footprint"):
        raise InputError(f"{where}: at_x and footprint are both given, need one of them")
    system = cell.get("system") or None
    if system is not None and system.endswith(".toml"):
        system = str(folder / system)
    footprint = cell.get("footprint")
    try:
        return Entry(
            id=cell["id"],
            input_path=folder / cell["input"],
            unit=unit,
            system=system,
            at=(_number(at[0], f"{where}: at_x"), _number(at[1], f"{where}: at_y")) if any(at) else None,
            footprint=folder / footprint if footprint else None,
        )
    except ValueError as error:  # a NUL in a path
        if isinstance(error, InputError):
            raise
        raise InputError(f"{where}: {error}") from error


def _number(text: str, where: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{where}: got {text[:40]!r}, need a number with a decimal point")
    return value


def _rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells; the separator is that which the header has most of."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path}: not UTF-8 text at byte {error.start}, save the table as CSV UTF-8"
        ) from error
    if "\0" in text:
        raise InputError(f"{path}: not a table, it holds a NUL byte; need CSV text")
    first = text.split("\n", 1)[0]
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=max(SEPARATORS, key=first.count), strict=True
    )
    try:
        for cells in reader:
            yield reader.line_num, cells
    except csv.Error as error:
        raise InputError(f"{path}: line {reader.line_num}: {error}, need CSV as RFC 4180 has it") from error
