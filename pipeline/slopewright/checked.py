"""What a run folder was held against: kept as long as it goes with the roof that the folder holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from . import adjust, dispute, report
from .checks import CONFLICT, TapeCheck, TapeReading
from .errors import InputError
from .job import Job
from .roof import Roof
from .runfolder import digest_file
from .scene import Notice
from .units import METRES_PER_UNIT

TAPE_FILE = "tape.json"
ROOF_FILE = "roof.json"
JOB_READINGS = "job.toml"  # how the `where` of what a job states begins
OUTDATED = Notice(
    code="tape_outdated",
    text="tape measurements were held against another roof than this one; run slopewright tape again",
)
CODES = frozenset(
    {"tape_outdated", "tape_conflict", "tape_scale"}
)  # of notices that follow from checks alone


def copy_checks(source: Path, target: Path) -> None:
    """Take over what another folder's roof was held against."""
    if (source / TAPE_FILE).exists():
        (target / TAPE_FILE).write_bytes((source / TAPE_FILE).read_bytes())


def write_tape(folder: Path, check: TapeCheck) -> None:
    """Write tape.json beside the roof.json that it goes with."""
    content = report.tape_json(check, roof_sha256=digest_file(folder / ROOF_FILE, "").sha256)
    (folder / TAPE_FILE).write_bytes(report.json_bytes(content))


def read_tape_check(folder: Path) -> TapeCheck | None:
    """The tape check of a run folder; None where there is none, or it went with another roof.

    Raises
    ------
    InputError
        If tape.json is not as it was written.
    """
    path = folder / TAPE_FILE
    if not path.exists():
        return None
    check, sha256 = report.tape_from_json(report.read_json(path), file=str(path))
    return check if sha256 == digest_file(folder / ROOF_FILE, "").sha256 else None


def settle_tape(staging: Path) -> tuple[TapeCheck | None, tuple[Notice, ...]]:
    """The check that goes with a staged roof, and what is to be told of it; an outdated one is taken away."""
    check = read_tape_check(staging)
    if check is None:
        outdated = (staging / TAPE_FILE).exists()
        (staging / TAPE_FILE).unlink(missing_ok=True)
        return None, (OUTDATED,) if outdated else ()
    return check, tuple(_notices(check))


def tape_against(roof: Roof, readings: Sequence[TapeReading], *, overhang_m: float | None) -> TapeCheck:
    """Hold readings against a roof; those between corners need its state."""
    apart = None
    if any(reading.corners is not None for reading in readings):
        apart = adjust.distances(roof, dispute.corner_pairs(roof, readings))
    scale_u = roof.state.doubt.scale if roof.state is not None else 0.0
    return dispute.check_tape(roof, readings, apart=apart, scale_u=scale_u, overhang_m=overhang_m)


def job_readings(job: Job, roof: Roof, cloud_unit: str) -> tuple[tuple[TapeReading, ...], tuple[Notice, ...]]:
    """What a job states of lengths, as readings to hold against the roof, and what is no length of it."""
    metres = METRES_PER_UNIT[cloud_unit]
    readings: list[TapeReading] = []
    told: list[Notice] = []
    for length in job.lengths:
        where = f"{JOB_READINGS} {length.title}"
        common = {"stated": f"{length.length_m:.3f} m", "length_m": length.length_m, "u_m": length.u_m}
        if length.edge is not None:
            try:
                names = dispute.edges_named(length.edge, roof, where=where)
            except InputError as error:
                told.append(Notice(code="length_not_used", text=str(error)))
                continue
            readings.append(TapeReading(where=where, of="+".join(names), edges=names, **common))  # type: ignore[arg-type]
        elif length.ends is not None:
            ends = tuple(
                tuple(value * metres - float(o) for value, o in zip(end, roof.frame.origin, strict=True))
                for end in length.ends
            )
            readings.append(TapeReading(where=where, of="two points", ends=ends, **common))  # type: ignore[arg-type]
    return tuple(readings), tuple(told)


def job_readings_of(check: TapeCheck | None) -> tuple[TapeReading, ...]:
    """Those readings of a check that the job states."""
    results = check.results if check is not None else ()
    return tuple(one.reading for one in results if one.reading.where.startswith(JOB_READINGS))


def tape_again(folder: Path, roof: Roof, *, overhang_m: float | None) -> TapeCheck | None:
    """The readings of a folder held against its roof as corrected; what is no more on it is left out."""
    before = read_tape_check(folder)
    if before is None:
        return None
    found = [dispute.read_again(one.reading, roof) for one in before.results]
    readings = [reading for reading in found if reading is not None]
    if not readings:
        return None
    used = {one.reading.where for one in before.results if one.used}
    check = tape_against(roof, readings, overhang_m=overhang_m)
    results = tuple(replace(one, used=one.reading.where in used) for one in check.results)
    return replace(check, results=results)


def read_table(path: Path) -> bytes:
    """The bytes of a table.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}, need a CSV file") from error


def _notices(check: TapeCheck) -> list[Notice]:
    told = []
    if check.scale_conflict and check.scale is not None:
        half = check.scale.half_width
        told.append(
            Notice(
                code="tape_scale",
                text=f"tape measurements together say lengths {check.scale.value:+.2%} ± {half:.2%} of what"
                " the roof has: check the cloud's unit and scale, or the tape",
            )
        )
    against = [one for one in check.results if one.verdict == CONFLICT]
    if against and not check.scale_conflict:
        named = ", ".join(one.reading.of for one in against[:4])
        told.append(
            Notice(
                code="tape_conflict",
                text=f"{len(against)} of {len(check.results)} tape measurements contradict the roof: {named}",
                about=tuple(dict.fromkeys(name for one in against for name in one.reading.edges)),
            )
        )
    return told
