"""Rows of numbers in a text file, with the line number of whatever is wrong in them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np

from ..errors import InputError
from ..scene import Array

COMMENTS = ("#", "//")
MAX_DIGITS = 30  # of a count; longer is no count, and slow to convert
SHOWN = 30  # characters of a bad field that a message repeats


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Where in a text file the coordinates stand."""

    path: Path
    first_line: int  # 1 for the top of the file
    columns: tuple[int, int, int]  # of x, y, z, from 0
    delimiter: str | None = None  # None: any white space
    decimal_comma: bool = False
    counts_between: bool = False  # lines of one number stand between blocks of points (PTS)
    max_rows: int | None = None  # rows that belong to the table; None: to the end of the file

    def load(self) -> Array:
        """Read x, y, z of all rows.

        Returns
        -------
        array, shape (n, 3)
            Coordinates [file unit]; may hold what is not finite.

        Raises
        ------
        InputError
            If a row has too few columns or a field is no number, with its line number.
        """
        rows = (line for _, line in self._rows())
        first = next(rows, None)
        if first is None:
            return np.empty((0, 3))
        try:
            return np.loadtxt(
                _chain(first, rows),
                delimiter=self.delimiter,
                usecols=self.columns,
                comments=None,
                ndmin=2,
                encoding=None,
            )
        except ValueError as error:
            raise self._explain() from error

    def line_of(self, row: int) -> str:
        """Name a row for a message: "line 17"."""
        number, _ = next(islice(self._rows(), row, None))
        return f"line {number}"

    def _rows(self) -> Iterator[tuple[int, str]]:
        """Line number and text of each row, comments and blank lines left out."""
        with self.path.open(encoding="utf-8-sig", errors="replace") as stream:
            numbered = islice(enumerate(stream, 1), self.first_line - 1, None)
            yield from islice(self._kept(numbered), self.max_rows)

    def _kept(self, numbered: Iterator[tuple[int, str]]) -> Iterator[tuple[int, str]]:
        for number, line in numbered:
            if line.isspace() or line.startswith(COMMENTS):
                continue
            if self.counts_between and len(line.split(self.delimiter, 1)) == 1:
                continue
            yield number, line.replace(",", ".") if self.decimal_comma else line

    def _explain(self) -> InputError:
        """Find the first row that cannot be read; only called when there is one."""
        name = self.path.name
        for number, line in self._rows():
            fields = line.rstrip("\r\n").split(self.delimiter)
            if len(fields) <= max(self.columns):
                need = max(self.columns) + 1
                return InputError(f"{name}: line {number}: {len(fields)} columns, need {need}")
            for axis, column in zip("xyz", self.columns, strict=True):
                if not is_number(fields[column]):
                    text = fields[column].strip()[:SHOWN]
                    return InputError(f"{name}: line {number}: {axis} is {text!r}, need a number")
        return InputError(f"{name}: cannot be read as rows of numbers, need x, y, z in each line")


def is_number(text: str) -> bool:
    """Whether a field is a number as we read them: no underscores, no blanks inside; nan and inf count."""
    try:
        float(text)
    except ValueError:
        return False
    return "_" not in text


def is_count(text: str) -> bool:
    """Whether a field is a whole number, of a length that no count exceeds."""
    return text.isascii() and text.isdecimal() and len(text) <= MAX_DIGITS


def _chain(first: str, rest: Iterator[str]) -> Iterator[str]:
    yield first
    yield from rest
