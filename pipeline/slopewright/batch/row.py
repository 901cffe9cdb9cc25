"""One roof of the results: how the job ended, and what was measured.  Metres and square metres."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from ..measurement import Measurement
from ..scene import EdgeKind


class Status(StrEnum):
    """How a job ended."""

    OK = "ok"  # measured and certified
    NOT_CERTIFIED = "not_certified"  # measured, but bounds too wide or too little seen
    REFUSED = "refused"  # what was given cannot be used
    FAILED = "failed"  # a failure of ours, or of the disk
    MEMORY = "memory"  # went beyond the limit
    TIMEOUT = "timeout"  # likewise
    CRASHED = "crashed"  # its process ended without an answer


MEASURED = frozenset({Status.OK, Status.NOT_CERTIFIED})
FINAL = MEASURED | {Status.REFUSED}  # the same input and program give the same again: not repeated


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What the results say of a roof.  The same inputs, options and version give the same row."""

    id: str
    status: Status
    reason: str = ""
    key: str = ""  # of inputs, options and program; "" where they could not be read
    values: dict[str, float] = field(default_factory=dict)  # by column
    warnings: tuple[str, ...] = ()  # codes
    crs: str | None = None  # of `outline`
    outline: str | None = None  # WKB, hexadecimal, in the grid's own unit

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "id": self.id,
            "status": str(self.status),
            "reason": self.reason,
            "key": self.key,
            "values": self.values,
            "warnings": list(self.warnings),
            "crs": self.crs,
            "outline": self.outline,
        }

    @staticmethod
    def from_json(content: dict[str, Any]) -> Row:
        """The row that `as_json` was made of.

        Raises
        ------
        TypeError, KeyError, ValueError, AttributeError
            If it is none.
        """
        changed = {"status": Status(content["status"]), "warnings": tuple(content["warnings"])}
        return Row(**{**content, **changed})


def bounds(name: str, unit: str, measured: Measurement) -> dict[str, float]:
    """Columns of a value and its 95 % bounds."""
    end = f"_{unit}" if unit else ""
    return {
        f"{name}{end}": measured.value,
        f"{name}_low{end}": measured.low,
        f"{name}_high{end}": measured.high,
    }


def value_columns() -> tuple[str, ...]:
    """Names of the columns with numbers, in their order."""
    nothing = Measurement(0.0, 0.0, 0.0, 0.0)
    named = [("area", "m2"), ("squares", ""), ("plan_area", "m2"), ("main_rise_in_12", "")]
    kinds = [(str(kind), "m") for kind in EdgeKind]
    heads = [column for name, unit in named for column in bounds(name, unit, nothing)]
    tails = [column for name, unit in kinds for column in bounds(name, unit, nothing)]
    return (*heads, "planes", "observed", "footprint_m2", *tails)
