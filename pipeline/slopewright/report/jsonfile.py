"""JSON in and out: the same bytes for the same content, and errors that name the file and the field."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from ..errors import InputError
from ..measurement import Measurement

DECIMALS = 6  # a micrometre, a square millimetre: far below any bound, and short
LINE_LENGTH = 110  # values that fit stay on one line
BOUND_SLACK = 2e-6  # rounding may move a value past its bound by this


def rounded(value: float, decimals: int = DECIMALS) -> float:
    """A finite number as files carry it; -0.0 becomes 0.0.

    Raises
    ------
    ValueError
        If the number is not finite: no file of ours holds such a number.
    """
    if not math.isfinite(value):
        raise ValueError(f"a result is {value}, need a finite number")
    return round(float(value), decimals) + 0.0


def measurement_json(measured: Measurement) -> dict[str, float]:
    """The object `M` of the contracts."""
    return {key: rounded(value) for key, value in measured.as_json().items()}


def json_bytes(content: dict[str, Any]) -> bytes:
    """The bytes of a JSON file: UTF-8, keys in the order given, short values on one line.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    return (_lay_out(content, "") + "\n").encode("utf-8", "replace")


def _lay_out(value: Any, indent: str) -> str:
    flat = json.dumps(value, ensure_ascii=False, allow_nan=False)
    if not isinstance(value, dict | list) or not value or len(indent) + len(flat) <= LINE_LENGTH:
        return flat
    inner = indent + " "
    if isinstance(value, dict):
        rows = [f"{json.dumps(k, ensure_ascii=False)}: {_lay_out(v, inner)}" for k, v in value.items()]
        return "{\n" + ",\n".join(inner + row for row in rows) + "\n" + indent + "}"
    return "[\n" + ",\n".join(inner + _lay_out(v, inner) for v in value) + "\n" + indent + "]"


def read_json(path: Path) -> Any:
    """Content of a JSON file.

    Raises
    ------
    InputError
        If it cannot be read, is not UTF-8, is not JSON, or holds NaN or Infinity.
    """

    def refuse(constant: str) -> NoReturn:
        raise InputError(f"{path}: holds {constant}, need finite numbers (RFC 8259 has no {constant})")

    try:
        return json.loads(path.read_bytes().decode("utf-8-sig"), parse_constant=refuse)
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error}), need a JSON file") from error
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: not UTF-8 at byte {error.start}, need JSON in UTF-8") from error
    except json.JSONDecodeError as error:
        where = f"line {error.lineno} column {error.colno}"
        raise InputError(
            f"{path}: not JSON ({error.msg}, {where}), need the file as it was written"
        ) from error
    except (RecursionError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{path}: JSON nested too deep or a number too long, need {path.name}") from error


@dataclass(frozen=True, slots=True)
class Field:
    """A value of a JSON file that knows where it stands, so that every error can say so."""

    file: str
    value: Any
    path: str = ""

    def fail(self, need: str) -> NoReturn:
        """Refuse this value.

        Raises
        ------
        InputError
            Always: file, field, what it holds and what is needed.
        """
        got = json.dumps(self.value, ensure_ascii=True, default=str)
        got = got if len(got) <= 40 else got[:37] + "..."
        raise InputError(f"{self.file}: {self.path or 'the file'} is {got}, need {need}")

    def __getitem__(self, key: str) -> Field:
        """A member that must be there."""
        if not isinstance(self.value, dict):
            self.fail(f"an object with {key!r}")
        path = f"{self.path}.{key}" if self.path else key
        if key not in self.value:
            raise InputError(f"{self.file}: {path} is missing, need it as in the file's JSON Schema")
        return Field(self.file, self.value[key], path)

    def __iter__(self) -> Iterator[Field]:
        """The elements of an array."""
        if not isinstance(self.value, list):
            self.fail("an array")
        return iter([Field(self.file, value, f"{self.path}[{i}]") for i, value in enumerate(self.value)])

    def at(self, index: int) -> Field:
        """One element of an array."""
        return list(self)[index]

    def members(self) -> list[str]:
        """The names of an object's members."""
        if not isinstance(self.value, dict):
            self.fail("an object")
        return list(self.value)

    def header(self, form: str, version: int) -> None:
        """Check the two members that tell what a file is."""
        if not isinstance(self.value, dict) or self.value.get("format") != form:
            found = self.value.get("format") if isinstance(self.value, dict) else None
            raise InputError(f'{self.file}: format is {found!r}, need "{form}": another kind of file?')
        if self["version"].value != version:
            self["version"].fail(f"{version}: written by a newer or another program")

    def number(self, low: float = -math.inf, high: float = math.inf) -> float:
        """A finite number within [low, high]."""
        value = self.value
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.fail("a number")
        if not low <= value <= high or abs(value) > 1e300 or value != value:
            self.fail(f"a finite number from {low:g} to {high:g}")
        return float(value)

    def integer(self, low: int = 0) -> int:
        """A whole number not below `low`."""
        if not self.number().is_integer() or self.value < low:
            self.fail(f"a whole number, {low} or more")
        return int(self.value)

    def text(self) -> str:
        """A string."""
        if not isinstance(self.value, str):
            self.fail("text")
        return str(self.value)

    def one_of(self, names: frozenset[str]) -> str:
        """One of a few names."""
        if not isinstance(self.value, str) or self.value not in names:
            self.fail("one of " + ", ".join(sorted(names)))
        return str(self.value)

    def texts(self) -> tuple[str, ...]:
        """An array of strings."""
        return tuple(item.text() for item in self)

    def vector(self, length: int) -> tuple[float, ...]:
        """An array of `length` numbers."""
        numbers = tuple(item.number() for item in self)
        if len(numbers) != length:
            self.fail(f"{length} numbers")
        return numbers

    def measurement(self) -> Measurement:
        """An object `M`: value, standard uncertainty and 95 % bounds, in that order of size."""
        value, low, high = (self[key].number() for key in ("value", "low", "high"))
        if not low - BOUND_SLACK <= value <= high + BOUND_SLACK:
            self.fail("low <= value <= high")
        return Measurement(value, self["u"].number(0.0), low, high)
