"""What a run is asked to do: job and options resolved, and the keys that tell whether a folder holds it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from . import __version__
from .errors import InputError
from .job import Job
from .job.systems import DEFAULT_SYSTEM, find_system, system_files
from .roof import TakeoffRequest
from .runfolder import Digest, RunRecord, digest_file, key_of, source_digest

ALL_FILES, ROOF_ONLY = "all", "roof"
FILES = (ALL_FILES, ROOF_ONLY)  # with mesh, drawings and pages; only the roof, the quantities and the record


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What the command line, the desk or a batch asks beside the job itself."""

    unit: str | None = None  # of the cloud, over the job's
    at: tuple[float, float] | None = None  # a point of the roof, in the cloud's own coordinates and unit
    footprint: Path | None = None  # GeoJSON, in the cloud's own coordinates and unit
    system: str | None = None  # a name in configs/systems or the path of a file, over the job's
    metric: bool = False  # units of the drawing
    files: str = ALL_FILES  # which of FILES are written
    force: bool = False  # measure even what the run folder already holds, and replace another cloud's run


@dataclass(frozen=True, slots=True, kw_only=True)
class Intent:
    """One run, resolved."""

    name: str  # of the job
    options: dict[str, Any]  # as run.json carries them
    request: TakeoffRequest
    system_path: Path
    inputs: tuple[Digest, ...]
    measure_key: str  # same key: same roof
    takeoff_key: str  # same key too: same files

    @staticmethod
    def of_job(job: Job, options: Options) -> Intent:
        """Resolve a job with the options given for this run.

        Raises
        ------
        InputError
            If a file that is named cannot be read, or the system is unknown.
        """
        system = options.system or job.system or DEFAULT_SYSTEM
        system_path = find_system(system)
        measured = _measured_digests(job)
        inputs = [*measured, *_system_digests(system_path)]
        if job.job_path is not None:
            inputs.append(digest_file(job.job_path, "job"))
        footprint = digest_file(options.footprint, "footprint") if options.footprint is not None else None
        if footprint is not None:
            inputs.append(footprint)
        asked = {
            "unit": options.unit or job.unit,
            "at": list(options.at) if options.at else None,
            "footprint": footprint.name if footprint else None,
            "system": Path(system).name,
            "metric": options.metric,
            "files": options.files,
        }
        measure_key = key_of(
            source=source_digest(),
            measured=[(d.name if d.role == "photo" else d.role, d.sha256) for d in measured],
            footprint=footprint.sha256 if footprint else None,
            unit=asked["unit"],
            at=asked["at"],
            lengths=[asdict(length) for length in job.lengths],
            known=[asdict(length) for length in job.known],
        )
        intent = Intent(
            name=job.name,
            options=asked,
            request=job.request,
            system_path=system_path,
            inputs=tuple(inputs),
            measure_key=measure_key,
            takeoff_key="",
        )
        return intent._with_takeoff_key()

    @staticmethod
    def of_record(
        record: RunRecord,
        *,
        system: str | None = None,
        metric: bool | None = None,
        files: str | None = None,
    ) -> Intent:
        """The intent behind a run folder, with another system, other units of the drawing or other files.

        Raises
        ------
        InputError
            If the run was made with a system file that is not among those shipped, and none is given.
        """
        options = _stored_options(record)
        if system is None and options["system"].endswith(".toml"):
            raise InputError(f"the run was made with {options['system']}: give that file again with --system")
        system_path = find_system(system or options["system"])
        options["system"] = Path(system).name if system else options["system"]
        options["metric"] = options["metric"] if metric is None else metric
        options["files"] = files or options["files"]
        kept = [digest for digest in record.inputs if digest.role != "system"]
        first = next((n for n, digest in enumerate(record.inputs) if digest.role == "system"), 1)
        return Intent(
            name=record.name,
            options=options,
            request=_request(record),
            system_path=system_path,
            inputs=(*kept[:first], *_system_digests(system_path), *kept[first:]),
            measure_key=record.measure_key,
            takeoff_key="",
        )._with_takeoff_key()

    def check_same_cloud(self, previous: RunRecord, folder: Path) -> None:
        """Refuse to replace a run of another cloud or of other photos unasked.

        Raises
        ------
        InputError
            If the folder's run is of another cloud, or has no photo in common with this.
        """
        old, new = (
            {digest.sha256: digest for digest in inputs if digest.role in ("cloud", "photo")}
            for inputs in (previous.inputs, self.inputs)
        )
        if old and new and not set(old) & set(new):
            before, now = next(iter(old.values())), next(iter(new.values()))
            raise InputError(
                f"{folder}: holds a run of {before.name} ({before.sha256[:8]}), not of this"
                f" {now.name} ({now.sha256[:8]}); choose another --out or give --force"
            )

    def record(self, **done: Any) -> RunRecord:
        """What run.json says once the run is done; `done` are the fields that only the run knows."""
        known: dict[str, Any] = {
            "name": self.name,
            "slopewright": __version__,
            "source": source_digest(),
            "inputs": self.inputs,
            "options": self.options,
            "request": asdict(self.request),
            "measure_key": self.measure_key,
            "takeoff_key": self.takeoff_key,
        }
        return RunRecord(**{**known, **done})

    def _with_takeoff_key(self) -> Intent:
        systems = [digest.sha256 for digest in self.inputs if digest.role == "system"]
        key = key_of(
            source=source_digest(),
            measured=self.measure_key,
            name=self.name,
            request=asdict(self.request),
            system=systems,
            metric=self.options["metric"],
            files=self.options["files"],
        )
        return replace(self, takeoff_key=key)


def _measured_digests(job: Job) -> list[Digest]:
    """Of the cloud, or of photos and marks."""
    if job.cloud is not None:
        return [digest_file(job.cloud, "cloud")]
    digests = [digest_file(path, "photo") for path in job.photos]
    return digests if job.marks_path is None else [*digests, digest_file(job.marks_path, "marks")]


def _system_digests(path: Path) -> list[Digest]:
    """Of the system's file and of those that it is derived from."""
    return [digest_file(file, "system") for file in system_files(path)]


@cache
def _stored_request() -> TypeAdapter[TakeoffRequest]:
    return TypeAdapter(TakeoffRequest)


def _request(record: RunRecord) -> TakeoffRequest:
    """The request as run.json keeps it, back from JSON's lists."""
    try:
        return _stored_request().validate_python(record.request)
    except ValidationError as error:
        where = ".".join(map(str, error.errors()[0]["loc"]))
        raise InputError(f"run.json: request.{where} is not as it was written; measure again") from error


def lost_record(name: str, system: str) -> RunRecord:
    """What is known of a run whose run.json is lost: its name, and the system that its takeoff.json names."""
    return RunRecord(
        name=name,
        slopewright=__version__,
        source=source_digest(),
        inputs=(),
        options={
            "unit": None,
            "at": None,
            "footprint": None,
            "system": system,
            "metric": False,
            "files": ALL_FILES,
        },
        request=asdict(TakeoffRequest()),
        configs={},
        seeds={},
        chosen="",
        other_roofs=[],
        warnings=[],
        not_certified=[],
        measure_key="",
        takeoff_key="",
        files={},
    )


def _stored_options(record: RunRecord) -> dict[str, Any]:
    """The options as run.json keeps them."""
    options = {**record.options, "files": record.options.get("files", ALL_FILES)}
    if not isinstance(options.get("system"), str) or not isinstance(options.get("metric"), bool):
        raise InputError("run.json: options.system or options.metric is not as it was written; measure again")
    if (record.measure_key and not record.inputs) or options["files"] not in FILES:
        raise InputError("run.json: inputs or options.files is not as it was written; measure again")
    return options
