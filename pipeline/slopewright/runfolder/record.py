"""run.json: what a run folder came from.  The same inputs, options and version give the same bytes."""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
from dataclasses import asdict, dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from ..errors import InputError

RECORD_FILE = "run.json"
RECORD_FORMAT = "slopewright-run"
RECORD_VERSION = 1
LIBRARIES = ("numpy", "scipy", "shapely", "laspy", "trimesh")  # those that the numbers pass through


@dataclass(frozen=True, slots=True, kw_only=True)
class Digest:
    """One input file: its name without the folder, its size and its SHA-256."""

    role: str  # "cloud", "job", "footprint" or "system"
    name: str
    n_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRecord:
    """The content of run.json.

    Two records with one `measure_key` hold the same roof; with one `takeoff_key` too, the same files.
    """

    slopewright: str  # version
    source: str  # SHA-256 of the program's own files, so that a changed program never passes for the same
    inputs: tuple[Digest, ...]
    options: dict[str, Any]
    configs: dict[str, dict[str, Any]]  # per stage, as resolved
    seeds: dict[str, int]
    chosen: str
    other_roofs: list[dict[str, Any]]
    warnings: list[dict[str, Any]]
    not_certified: list[str]
    measure_key: str
    takeoff_key: str
    files: list[str]
    libraries: dict[str, str] = field(
        default_factory=lambda: {name: importlib.metadata.version(name) for name in LIBRARIES}
    )

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
            If the folder is not one of our runs, or one of a later version.
        """
        path = folder / RECORD_FILE
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
        except OSError as error:
            raise InputError(f"{folder}: not a run folder, it has no readable {RECORD_FILE}") from error
        except ValueError as error:
            raise InputError(f"{path}: not JSON, measure again into another folder (--out)") from error
        if not isinstance(content, dict) or content.pop("format", None) != RECORD_FORMAT:
            raise InputError(f'{path}: format is not "{RECORD_FORMAT}", not a run folder of this program')
        if (version := content.pop("version", None)) != RECORD_VERSION:
            raise InputError(
                f"{path}: version {version}, this program reads {RECORD_VERSION}; choose another folder with --out"
            )
        try:
            inputs = tuple(Digest(**item) for item in content.pop("inputs"))
            return RunRecord(inputs=inputs, **content)
        except (TypeError, KeyError) as error:
            raise InputError(
                f"{path}: fields are missing or unknown, measure into another folder (--out)"
            ) from error


def digest_file(path: Path, role: str) -> Digest:
    """The digest of an input file."""
    try:
        with path.open("rb") as stream:
            sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
        return Digest(role=role, name=path.name, n_bytes=path.stat().st_size, sha256=sha256)
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error


def key_of(**parts: Any) -> str:
    """One SHA-256 over named parts that can be written as JSON."""
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


@cache
def source_digest() -> str:
    """SHA-256 over the program's own files."""
    package = Path(__file__).parent.parent
    total = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        total.update(path.relative_to(package).as_posix().encode())
        total.update(path.read_bytes())
    return total.hexdigest()
