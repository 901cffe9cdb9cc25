"""From a path to a job: which cloud or photos, with which scope.  Lengths in metres unless said."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import ValidationError

from ..errors import InputError
from ..photos import KnownLength
from ..roof import Scope, Site, TakeoffRequest
from ..units import METRES_PER_UNIT
from .contract import JobContract
from .messages import first_fault

JOB_FILE = "job.toml"
CLOUD_SUFFIXES = (".las", ".laz", ".ply", ".pcd", ".e57", ".xyz", ".pts")
TEXT_SUFFIXES = (
    ".csv",
    ".txt",
    ".asc",
)  # a cloud, if the folder has no other; may as well be a note or a table
PHOTO_SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")
MARKS_FILE = "marks.json"
DICTIONARY = "APRILTAG_36h11"  # the printed targets that are found in photos
MAX_NAMED = 4  # files that a message names

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedLength:
    """A length that the job states: a reference or a tape measurement."""

    title: str  # for messages, like `reference "staff"`
    length_m: float
    u_m: float  # standard uncertainty
    ends: tuple[Point, Point] | None  # points of the cloud, world coordinates in the cloud's own unit
    edge: str | None = None  # of roof.json


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What is to be measured, and what the person on site knows about it."""

    name: str
    cloud: Path | None  # None: a job of photos
    job_path: Path | None  # the job.toml, where there is one
    default_run: Path  # the run folder, if no other is asked for
    unit: str | None = None  # of the cloud, if the job says it
    system: str | None = None  # a name in configs/systems, or the path of a file
    request: TakeoffRequest = field(default_factory=TakeoffRequest)
    lengths: tuple[StatedLength, ...] = ()
    photos: tuple[Path, ...] = ()
    marks_path: Path | None = None  # the marks.json beside photos, where there is one
    known: tuple[KnownLength, ...] = ()  # between marks or targets, and to be checked between marks

    @property
    def cloud_path(self) -> Path:
        """The cloud's file.

        Raises
        ------
        InputError
            If the job is one of photos.
        """
        if self.cloud is None:
            raise InputError(f"{self.name}: a job of {len(self.photos)} photos, need one with a cloud")
        return self.cloud


def load_job(input_path: Path) -> Job:
    """Find the cloud or photos and the job file behind INPUT.

    Parameters
    ----------
    input_path : Path
        A cloud file; or a folder with exactly one cloud file, or with photos and, if wanted, a marks.json; if
        wanted, a job.toml beside them.

    Returns
    -------
    Job

    Raises
    ------
    InputError
        If there is no such file, nothing to measure or several clouds in the folder, or a fault in the
        job.toml: one line with file, table, key, what was found and what is allowed.
    """
    if not input_path.exists():
        raise InputError(f"{input_path}: no such file or folder, need a cloud file or a job folder")
    if input_path.is_dir():
        return _job_of_folder(input_path)
    if input_path.name == JOB_FILE:
        return _job_of_folder(input_path.parent)
    if input_path.suffix.lower() in PHOTO_SUFFIXES:
        raise InputError(
            f"{input_path}: one photo; give the folder of photos, or see slopewright photo --help for what"
            " one"
            " photo can tell"
        )
    stem = _plain_stem(input_path)
    return Job(name=stem, cloud=input_path, job_path=None, default_run=input_path.with_name(f"{stem}.run"))


def _job_of_folder(folder: Path) -> Job:
    cloud, photos = _found(folder)
    name = folder.resolve().name
    default_run = folder.resolve().with_name(f"{name}.run")
    marks_path = folder / MARKS_FILE if photos and (folder / MARKS_FILE).exists() else None
    job_path = folder / JOB_FILE
    if not job_path.exists():
        return Job(
            name=name,
            cloud=cloud,
            job_path=None,
            default_run=default_run,
            photos=photos,
            marks_path=marks_path,
        )
    contract = _read_contract(job_path)
    known = _known(contract, job_path) if photos else ()
    return Job(
        name=contract.job.name or name,
        cloud=cloud,
        job_path=job_path,
        default_run=default_run,
        unit=contract.job.unit,
        system=_system(contract, folder),
        request=_request(contract),
        lengths=_lengths(contract, job_path, of_photos=bool(photos)),
        photos=photos,
        marks_path=marks_path,
        known=known,
    )


def _found(folder: Path) -> tuple[Path | None, tuple[Path, ...]]:
    """The one cloud of a folder, or its photos."""
    files = sorted(path for path in folder.iterdir() if path.is_file())
    photos = tuple(path for path in files if path.suffix.lower() in PHOTO_SUFFIXES)
    for suffixes in (CLOUD_SUFFIXES, () if photos else TEXT_SUFFIXES):
        clouds = [path for path in files if path.suffix.lower() in suffixes]
        if len(clouds) == 1:
            return clouds[0], ()
        if clouds:
            shown = ", ".join(path.name for path in clouds[:MAX_NAMED])
            more = f" and {len(clouds) - MAX_NAMED} more" if len(clouds) > MAX_NAMED else ""
            raise InputError(
                f"{folder}: {len(clouds)} clouds in one job ({shown}{more}), need one; give the file itself"
            )
    if photos:
        return None, photos
    raise InputError(
        f"{folder}: no cloud and no photos in this folder, need one cloud ({_suffix_list()}) or photos"
        f" ({' '.join(suffix[1:] for suffix in PHOTO_SUFFIXES)})"
    )


def _read_contract(path: Path) -> JobContract:
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: not UTF-8 text at byte {error.start}, save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: not valid TOML: {error}") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error
    try:
        return JobContract.model_validate(content)
    except ValidationError as error:
        raise InputError(f"{path}: {first_fault(error)}") from error


def _system(contract: JobContract, folder: Path) -> str | None:
    """The system's name, or its path: relative paths start at the job folder."""
    if contract.system is None:
        return None
    name = contract.system.name
    return str((folder / name).resolve()) if name.endswith(".toml") else name


def _request(contract: JobContract) -> TakeoffRequest:
    scope = contract.scope
    return TakeoffRequest(
        site=Site(**contract.site.model_dump()),
        scope=Scope(
            planes=None if scope.planes is None else tuple(scope.planes),
            in_scope=tuple(scope.in_scope),
            retained=tuple(scope.retained),
            by_others=tuple(scope.by_others),
            excluded=tuple(scope.excluded),
            code_items=tuple(scope.code_items),
        ),
        counts=dict(contract.counts),
    )


def _lengths(contract: JobContract, path: Path, *, of_photos: bool) -> tuple[StatedLength, ...]:
    """Lengths that are held against the roof; those between marks of photos are `_known`."""
    found = []
    for number, reference in enumerate(contract.reference, start=1):
        if of_photos:
            continue
        where = f"[[reference]] {number}"
        if reference.board is not None or reference.between is None or reference.length is None:
            raise InputError(
                f"{path}: {where} board: targets need photos, and this job has a cloud; drop the table"
            )
        metres = METRES_PER_UNIT[reference.unit]
        found.append(
            StatedLength(
                title=_title(reference.name, number),
                length_m=reference.length * metres,
                u_m=reference.u * metres,
                ends=_points(reference.between, f"{path}: {where}"),
            )
        )
    for number, tape in enumerate(contract.tape, start=1):
        if of_photos and tape.between:
            continue
        metres = METRES_PER_UNIT[tape.unit]
        found.append(
            StatedLength(
                title=f"tape measurement {number}",
                length_m=tape.length * metres,
                u_m=tape.u * metres,
                ends=_points(tape.between, f"{path}: [[tape]] {number}") if tape.between else None,
                edge=tape.edge,
            )
        )
    return tuple(found)


def _known(contract: JobContract, path: Path) -> tuple[KnownLength, ...]:
    """Lengths between marks or targets of photos: references, and tape measurements to hold against them."""
    found = []
    for number, reference in enumerate(contract.reference, start=1):
        where = f"{path}: [[reference]] {number}"
        board = reference.board
        if board is not None and board.dictionary != DICTIONARY:
            raise InputError(f'{where} board: dictionary: got "{board.dictionary}", need "{DICTIONARY}"')
        if board is not None and len(set(board.ids)) < len(board.ids):
            raise InputError(f"{where} board: ids: got {board.ids}, need two different targets")
        length = reference.length or (board and (board.side or board.distance)) or 0.0
        metres = METRES_PER_UNIT[reference.unit]
        found.append(
            KnownLength(
                title=_title(reference.name, number),
                length_m=length * metres,
                u_m=reference.u * metres,
                marks=_marks(reference.between, where) if reference.between else None,
                boards=tuple(board.ids) if board else (),
            )
        )
    for number, tape in enumerate(contract.tape, start=1):
        if tape.between:
            metres = METRES_PER_UNIT[tape.unit]
            found.append(
                KnownLength(
                    title=f"tape measurement {number}",
                    length_m=tape.length * metres,
                    u_m=tape.u * metres,
                    marks=_marks(tape.between, f"{path}: [[tape]] {number}"),
                    check_only=True,
                )
            )
    return tuple(found)


def _title(name: str | None, number: int) -> str:
    return f'reference "{name}"' if name else f"reference {number}"


def _marks(between: list[str] | list[list[float]], where: str) -> tuple[str, str]:
    a, b = between
    if not isinstance(a, str) or not isinstance(b, str):
        raise InputError(f"{where} between: points are of a cloud, and this job has photos; name two marks")
    if a == b:
        raise InputError(f"{where} between: got {between}, need two different marks")
    return a, b


def _points(between: list[str] | list[list[float]], where: str) -> tuple[Point, Point]:
    points: list[Point] = []
    for end in between:
        if isinstance(end, str):
            raise InputError(f"{where} between: marks need photos; give two points [x, y, z] of the cloud")
        points.append((end[0], end[1], end[2]))
    if points[0] == points[1] or not all(math.isfinite(value) for point in points for value in point):
        raise InputError(f"{where} between: got {between}, need two different points")
    return points[0], points[1]


def _plain_stem(path: Path) -> str:
    """`house` of house.laz and of house.copc.laz."""
    stem = path.stem
    return stem[: -len(".copc")] if stem.lower().endswith(".copc") else stem


def _suffix_list() -> str:
    return " ".join(suffix[1:] for suffix in CLOUD_SUFFIXES + TEXT_SUFFIXES)
