"""job.toml as a form: read into one object, checked by the job's contract, saved with its comments."""

from __future__ import annotations

import os
import tempfile
import tomllib
from collections.abc import MutableMapping
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import ValidationError
from tomlkit.exceptions import TOMLKitError

from ..errors import InputError
from ..job import JOB_FILE
from ..job.contract import JobContract
from ..job.messages import first_fault


class FormFault(InputError):
    """A field that cannot be taken, for the page to say beside it."""

    def __init__(self, field: str, text: str) -> None:
        super().__init__(text)
        self.field = field


def read_form(folder: Path) -> dict[str, Any]:
    """What job.toml says, as the form has it: all tables, with the usual values where it says nothing.

    Raises
    ------
    InputError
        If the file is no TOML, or not as the contract has it.
    """
    return checked(_text(folder / JOB_FILE)).model_dump(mode="json")


def checked(text: str) -> JobContract:
    """The content of a job.toml by the contract.

    Raises
    ------
    FormFault
        With the field and what it needs.
    """
    try:
        return JobContract.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise FormFault("", f"not valid TOML: {error}") from error
    except ValidationError as error:
        raise _fault(error) from error


def save_form(folder: Path, content: dict[str, Any]) -> None:
    """Write a form as job.toml, whole or not at all; what did not change stays as it is written there.

    Raises
    ------
    FormFault
        With the field that cannot be taken; the file is then as it was.
    """
    path = folder / JOB_FILE
    try:
        wanted = JobContract.model_validate(content).model_dump(mode="json", exclude_defaults=True)
    except ValidationError as error:
        raise _fault(error) from error
    try:
        document = tomlkit.parse(_text(path))
    except TOMLKitError as error:
        raise FormFault("", f"not valid TOML: {error}") from error
    _change(document, document.unwrap(), wanted, JobContract().model_dump(mode="json"))
    text = tomlkit.dumps(document)
    checked(text)
    write_whole(path, text.encode())


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that it is the old one or the new one, whenever the power fails."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8") if path.exists() else ""
    except UnicodeDecodeError as error:
        raise InputError(f"{path.name}: not UTF-8 text at byte {error.start}, save it as UTF-8") from error


def _change(
    document: MutableMapping[str, Any], now: dict[str, Any], wanted: dict[str, Any], usual: dict[str, Any]
) -> None:
    """Make a table say what is wanted; a key that says the usual thing may stay, or stay away."""
    for key in now:
        if key not in wanted and now[key] != usual.get(key):
            if isinstance(now[key], dict) and isinstance(usual.get(key), dict):
                _change(document[key], now[key], {}, usual[key])
            else:
                del document[key]
    for key, value in wanted.items():
        if key in now and now[key] == value:
            continue
        if isinstance(value, dict) and isinstance(now.get(key), dict):
            _change(document[key], now[key], value, usual.get(key) or {})
        else:
            document[key] = _written(value)


def _written(value: Any) -> Any:
    """A value as TOML: no nulls, lists of tables as [[tables]]."""
    if isinstance(value, dict):
        table = tomlkit.table()
        for key, item in value.items():
            if item is not None:
                table.add(key, _inner(item))
        return table
    if isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
        tables = tomlkit.aot()
        for item in value:
            tables.append(_written(item))
        return tables
    return value


def _inner(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    table = tomlkit.inline_table()
    table.update({key: item for key, item in value.items() if item is not None})
    return table


def _fault(error: ValidationError) -> FormFault:
    place = ".".join(str(step) for step in error.errors(include_url=False)[0]["loc"])
    return FormFault(place, first_fault(error))
