"""What pydantic found wrong with a job.toml, as one line: table, key, what was found, what is allowed."""

from __future__ import annotations

import difflib
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from .contract import JobContract

MAX_SHOWN = 40  # characters of a wrong value that are repeated


def first_fault(error: ValidationError) -> str:
    """The first fault of a job.toml in one line."""
    fault = error.errors(include_url=False)[0]
    path = _known_part(fault["loc"], fault["type"])
    where = _where(path)
    if fault["type"] == "extra_forbidden":
        return f"{where}: unknown {'table or key' if len(path) == 1 else 'key'}{_suggestion(path)}"
    if fault["type"] == "value_error":
        return f"{where}: {fault['ctx']['error']}"
    need = _need(path)
    if fault["type"] == "missing":
        return f"{where}: missing{need and ', need ' + need}"
    return f"{where}: got {_shown(fault['input'])}{need and ', need ' + need}"


def _known_part(location: tuple[int | str, ...], kind: str) -> tuple[int | str, ...]:
    """The part of a fault's location that the file shows (pydantic appends names of its own for unions)."""
    path: list[int | str] = []
    model: Any = JobContract
    for step in location:
        if isinstance(step, int):
            if model is None:
                break
            path.append(step)
            continue
        known = model.model_fields if model is not None else {}
        if model is None or (step not in known and kind != "extra_forbidden"):
            if path == ["counts"]:
                path.append(step)
            break
        path.append(step)
        model = _model_of(known[step].annotation) if step in known else None
    return tuple(path)


def _model_of(annotation: Any) -> type[BaseModel] | None:
    """The table inside an annotation such as `list[TapeTable]` or `BoardTable | None`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((model for part in get_args(annotation) if (model := _model_of(part))), None)


def _where(path: tuple[int | str, ...]) -> str:
    """A location as a person reads the file: [site] storeys, [[tape]] 2 length."""
    if not path:
        return "the file"
    table, rest = path[0], path[1:]
    name = f"[{table}]"
    if table in ("reference", "tape"):
        number = int(rest[0]) + 1 if rest and isinstance(rest[0], int) else None
        name = f"[[{table}]]" + (f" {number}" if number else "")
        rest = rest[1:] if number else rest
    elif len(path) == 1 and table not in JobContract.model_fields:
        name = str(table)
    return " ".join([_cut(name), *(_cut(str(step)) for step in rest)])


def _siblings(path: tuple[int | str, ...]) -> list[str]:
    """The keys that are allowed beside the last step of a path."""
    model: type[BaseModel] | None = JobContract
    for step in path[:-1]:
        if isinstance(step, str) and model is not None:
            model = _model_of(model.model_fields[step].annotation)
    return list(model.model_fields) if model else []


def _need(path: tuple[int | str, ...]) -> str:
    """What the field at a path needs, from its description."""
    model: type[BaseModel] | None = JobContract
    need = ""
    for step in path:
        if not isinstance(step, str):
            continue
        if model is None or step not in model.model_fields:
            return "a whole number, 0 or more" if path[0] == "counts" else need
        field = model.model_fields[step]
        model = _model_of(field.annotation)
        need = field.description or ("a table" if model else "")
    return need


def _suggestion(path: tuple[int | str, ...]) -> str:
    """The nearest allowed key, and all of them."""
    allowed = _siblings(path)
    homes = [
        table
        for table, field in JobContract.model_fields.items()
        if (model := _model_of(field.annotation)) and path[-1] in model.model_fields
    ]
    nearest = difflib.get_close_matches(str(path[-1]), allowed, n=1)
    hint = f", did you mean {nearest[0]}?" if nearest else ""
    hint = f", it belongs in [{homes[0]}]" if homes else hint
    return f"{hint} (allowed: {', '.join(allowed)})"


def _shown(value: Any) -> str:
    """A wrong value as the file shows it, cut to length."""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = " ".join((f'"{value}"' if isinstance(value, str) else repr(value)).split())
    return _cut(text)


def _cut(text: str) -> str:
    """Text cut to length: a key may be as long as a file."""
    return text if len(text) <= MAX_SHOWN else text[: MAX_SHOWN - 3] + "..."
