"""run.json: what a run folder came from.  The same inputs, options and version give the same bytes."""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
from dataclasses import asdict, dataclass, field, fields
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from ..errors import InputError
from ..scene import Notice

RECORD_FILE = "run.json"
RECORD_FORMAT = "slopewright-run"
RECORD_VERSION = 1
LIBRARIES = ("numpy", "scipy", "shapely", "lazrs", "trimesh", "typst", "ezdxf")  # with a part in the files
SOURCES = frozenset({".py", ".typ", ".ttf", ".txt", ".json"})  # endings of the program's own files


@dataclass(frozen=True, slots=True, kw_only=True)
class Digest:
    """One input file: its name without the folder, its size and its SHA-256."""

    role: str  # "cloud", "photo", "marks", "job", "footprint" or "system"
    name: str
    n_bytes: int
    sha256: str


@cache
def _contract() -> TypeAdapter[RunRecord]:
    return TypeAdapter(RunRecord)


def _texts(values: Any) -> tuple[str, ...]:
    if not isinstance(values, list | tuple):
        raise TypeError(f"{values!r} is no list")
    return tuple(map(str, values))


def library_versions() -> dict[str, str]:
    """The version of each library that has a part in the files."""
    return {name: _library_version(name) for name in LIBRARIES}


@cache
def _library_version(name: str) -> str:
    return importlib.metadata.version(name)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRecord:
    """The content of run.json.

    Two records with one `measure_key` hold the same roof; with one `takeoff_key` too, the same files.
    """

    name: str  # of the job
    slopewright: str  # version
    source: str  # SHA-256 of the program's own files: a changed program never passes for the same
    libraries: dict[str, str] = field(default_factory=library_versions)
    inputs: tuple[Digest, ...]
    options: dict[str, Any]
    request: dict[str, Any]  # what job.toml says of site, scope and counts, for a takeoff without it
    configs: dict[str, dict[str, Any]]  # per stage, as resolved
    seeds: dict[str, int]  # per stage in which chance enters
    chosen: str  # id of the roof that roof.json describes
    other_roofs: list[dict[str, Any]]
    warnings: list[dict[str, Any]]
    not_certified: list[str]  # reasons, empty when certified
    measure_key: str
    takeoff_key: str
    corrections: int = 0  # made by hand since the measuring; state.json has them
    files: dict[str, str | None]  # name and SHA-256; None where the bytes may differ from run to run

    def write(self, folder: Path) -> None:
        """Write run.json."""
        content = {"format": RECORD_FORMAT, "version": RECORD_VERSION, **asdict(self)}
        text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)
        (folder / RECORD_FILE).write_text(text + "\n", encoding="utf-8")

    @staticmethod
    def read(folder: Path) -> RunRecord:
        """Read run.json.

        Raises
        ------
        InputError
            If the folder is not one of our runs, or one of another version of the format.
        """
        path = folder / RECORD_FILE
        elsewhere = "choose another run folder with --out"
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
        except OSError as error:
            raise InputError(f"{folder}: not a run folder, it has no readable {RECORD_FILE}") from error
        except (ValueError, RecursionError) as error:
            raise InputError(f"{path}: not JSON, {elsewhere}") from error
        if not isinstance(content, dict) or content.pop("format", None) != RECORD_FORMAT:
            raise InputError(f'{path}: format is not "{RECORD_FORMAT}", {elsewhere}')
        if (version := content.pop("version", None)) != RECORD_VERSION:
            raise InputError(f"{path}: version {version}, need {RECORD_VERSION}; {elsewhere}")
        if unknown := set(content) - {field.name for field in fields(RunRecord)}:
            raise InputError(f"{path}: {min(unknown)[:40]!r} is unknown, {elsewhere}")
        try:
            record = _contract().validate_python(content)
            record.notices(but=())
            return record
        except (ValidationError, KeyError, TypeError) as error:
            where = error.errors()[0]["loc"] if isinstance(error, ValidationError) else ("warnings",)
            named = ".".join(map(str, where)) or "a field"
            raise InputError(f"{path}: {named} is missing or not as it was written, {elsewhere}") from error

    def notices(self, *, but: tuple[Notice, ...]) -> tuple[Notice, ...]:
        """The warnings, without some."""
        told = (
            Notice(code=str(w["code"]), text=str(w["text"]), about=_texts(w["about"])) for w in self.warnings
        )
        return tuple(notice for notice in told if notice not in but)

    def is_intact(self, folder: Path, names: tuple[str, ...] | None = None) -> bool:
        """Whether files (all, unless named) are there with the bytes that the run wrote."""
        for name in self.files if names is None else names:
            path = folder / name
            expected = self.files.get(name)
            if not path.is_file() or (expected is not None and digest_file(path, "").sha256 != expected):
                return False
        return True


def digest_file(path: Path, role: str) -> Digest:
    """The digest of a file.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        with path.open("rb") as stream:
            sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
        return Digest(role=role, name=path.name, n_bytes=path.stat().st_size, sha256=sha256)
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error


def digest_folder(folder: Path, changing: frozenset[str]) -> dict[str, str | None]:
    """SHA-256 of each file below a folder, None for the names that may change from run to run."""
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    names = [path.relative_to(folder).as_posix() for path in paths]
    return {
        name: None if name in changing else digest_file(path, "").sha256
        for name, path in zip(names, paths, strict=True)
    }


def key_of(**parts: Any) -> str:
    """One SHA-256 over named parts that can be written as JSON."""
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


@cache
def source_digest() -> str:
    """SHA-256 over the program's own files, without the workbench: it shows results and makes none."""
    package = Path(__file__).parent.parent
    total = hashlib.sha256()
    for path in sorted(path for path in package.rglob("*") if path.suffix in SOURCES):
        if package / "desk" in path.parents:
            continue
        total.update(path.relative_to(package).as_posix().encode())
        total.update(path.read_bytes())
    return total.hexdigest()
