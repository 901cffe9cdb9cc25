"""Roof systems by name or by path: which file, and what it holds."""

from __future__ import annotations

import copy
import difflib
import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..resources import shipped
from .derive import derive

SYSTEMS = "configs/systems"
DEFAULT_SYSTEM = "composition-laminated"


def find_system(name: str | None) -> Path:
    """The file of a roof system.

    Parameters
    ----------
    name : str or None
        A name in configs/systems, or the path of a file that ends in .toml; None for the usual one.

    Raises
    ------
    InputError
        If there is no such system: the message lists those there are.
    """
    if name is None:
        name = DEFAULT_SYSTEM
    if name.endswith(".toml"):
        path = Path(name)
        if not path.is_file():
            raise InputError(f"{path}: no such system file, need a path or a name ({_list()})")
        return path
    path = shipped(SYSTEMS) / f"{name}.toml"
    if "/" in name or "\\" in name or not path.is_file():
        nearest = difflib.get_close_matches(name, system_names(), n=1)
        hint = f", did you mean {nearest[0]}?" if nearest else ""
        raise InputError(f"system {name!r}: unknown{hint} (there are: {_list()}; or give a file .toml)")
    return path


def system_names() -> list[str]:
    """Names of the systems that come with the program."""
    return sorted(path.stem for path in shipped(SYSTEMS).glob("*.toml"))


def system_files(path: Path) -> tuple[Path, ...]:
    """The file of a system and those that it is derived from, its own first.

    Raises
    ------
    InputError
        If one cannot be read, is no TOML, or names a base that does not come with the program.
    """
    files = [path]
    while (base := _base(_read(files[-1]), files[-1])) is not None:
        if base in files:
            raise InputError(f"{path}: base: {base.stem} is derived from itself, need another base")
        files.append(base)
    return tuple(files)


def read_system(path: Path) -> dict[str, Any]:
    """The content of a system file on top of its bases, not yet checked.

    Raises
    ------
    InputError
        As `system_files`, or if a derived file does not fit its base.
    """
    *derived, first = system_files(path)
    content = _read(first)
    for file in reversed(derived):
        content = derive(_read(file), content, file=str(file))
    return content


def _read(path: Path) -> dict[str, Any]:
    try:
        return copy.deepcopy(_parsed(path.read_text(encoding="utf-8")))
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error
    except ValueError as error:
        raise InputError(f"{path}: not valid TOML: {error}") from error


@lru_cache(maxsize=16)  # a batch reads the same few files for every roof, and each takes 10 ms
def _parsed(text: str) -> dict[str, Any]:
    return tomllib.loads(text)


def _base(content: dict[str, Any], path: Path) -> Path | None:
    """The file of the base that a system names: one of those that come with the program."""
    name = content.get("base")
    if name is None:
        return None
    if not isinstance(name, str) or name not in system_names():
        raise InputError(f"{path}: base: got {repr(name)[:60]}, need one of {_list()}")
    return shipped(SYSTEMS) / f"{name}.toml"


def _list() -> str:
    return ", ".join(system_names())
