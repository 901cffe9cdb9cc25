"""Roof systems by name or by path: which file, and what it holds."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..resources import shipped

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


def read_system(path: Path) -> dict[str, Any]:
    """The content of a system file, not yet checked.

    Raises
    ------
    InputError
        If it cannot be read or is no TOML.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error
    except ValueError as error:
        raise InputError(f"{path}: not valid TOML: {error}") from error


def _list() -> str:
    return ", ".join(system_names())
