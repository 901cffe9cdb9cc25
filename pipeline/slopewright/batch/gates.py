"""Which results may pass without a person's look, by rules that a file holds."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from ..errors import InputError
from ..resources import shipped
from ..scene import EdgeKind
from .row import MEASURED, Row

STANDARD = "configs/gates/standard.toml"
NOT_MEASURED = "not measured"  # stops before every rule

Value = Literal[
    "area_half_width",
    "pitch_half_width",
    "observed",
    "unknown_edge_share",
    "planes",
    "squares",
    "footprint_ratio",
]
Text = Annotated[str, Field(min_length=1)]


class Table(BaseModel):
    """A table of the file: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Rule(Table):
    """[[rule]]"""

    name: Text
    why: Text
    status: list[Literal["ok", "not_certified"]] | None = None
    value: Value | None = None
    min: float | None = Field(default=None, allow_inf_nan=False)
    max: float | None = Field(default=None, allow_inf_nan=False)
    warnings_allowed: list[str] | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        given = [self.status is not None, self.value is not None, self.warnings_allowed is not None]
        if sum(given) != 1:
            raise ValueError("need one of status, value, warnings_allowed")
        if (self.value is not None) != (self.min is not None or self.max is not None):
            raise ValueError("need min or max with value, and only there")
        return self


class GatesFile(Table):
    """The whole file."""

    format: Literal["slopewright-gates"]
    version: Literal[1]
    name: Text
    rule: Annotated[list[Rule], Field(min_length=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Gates:
    """The rules in their order."""

    name: str
    rules: tuple[Rule, ...]

    def stopped_by(self, row: Row) -> tuple[str, ...]:
        """Names of the rules that a roof does not keep; none of them: it may pass without a look."""
        if row.status not in MEASURED:
            return (NOT_MEASURED,)
        return tuple(rule.name for rule in self.rules if not _keeps(row, rule))


def read_gates(path: Path | None) -> Gates:
    """The rules of a file, or those that come with the program.

    Raises
    ------
    InputError
        Naming file, rule and field.
    """
    path = path or shipped(STANDARD)
    try:
        content = GatesFile.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}, need a file of gates") from error
    except ValidationError as error:
        raise InputError(f"{path}: {_first_fault(error)}") from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: not valid TOML: {error}") from error
    names = [rule.name for rule in content.rule]
    twice = [name for name in names if names.count(name) > 1 or name == NOT_MEASURED]
    if twice:
        raise InputError(f"{path}: rule {twice[0]!r}: the name is taken, need one of its own")
    return Gates(name=content.name, rules=tuple(content.rule))


def _keeps(row: Row, rule: Rule) -> bool:
    if rule.status is not None:
        return row.status in rule.status
    if rule.warnings_allowed is not None:
        return set(row.warnings) <= set(rule.warnings_allowed)
    value = _value(row.values, str(rule.value))
    low = float("-inf") if rule.min is None else rule.min
    high = float("inf") if rule.max is None else rule.max
    return low <= value <= high  # not so for NaN


def _value(values: dict[str, float], name: str) -> float:
    match name:
        case "area_half_width":
            return _over((values["area_high_m2"] - values["area_low_m2"]) / 2, values["area_m2"])
        case "pitch_half_width":
            return (values["main_rise_in_12_high"] - values["main_rise_in_12_low"]) / 2
        case "unknown_edge_share":
            return _over(values[f"{EdgeKind.UNKNOWN}_m"], sum(values[f"{kind}_m"] for kind in EdgeKind))
        case "footprint_ratio":
            return _over(values["plan_area_m2"], values["footprint_m2"]) if "footprint_m2" in values else 1.0
    return values[name]


def _over(part: float, whole: float) -> float:
    return part / whole if whole > 0 else float("nan")


def _first_fault(error: ValidationError) -> str:
    fault = error.errors(include_url=False)[0]
    place = list(fault["loc"])
    if place[:1] == ["rule"] and len(place) > 1:
        place[:2] = [f"rule {int(place[1]) + 1}"]
    where = " ".join(str(step) for step in place) or "the file"
    if fault["type"] == "missing":
        return f"{where}: missing, need it"
    got = " ".join(repr(fault["input"])[:60].split())
    return f"{where}: got {got}, {fault['msg'].removeprefix('Value error, ')}"
