"""What a run folder was held against: kept as long as it goes with the roof that the folder holds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from . import adjust, dispute, report
from .checks import CONFLICT, Comparison, TapeCheck, TapeReading, Theirs
from .errors import InputError
from .job import Job
from .roof import Roof, Takeoff
from .runfolder import digest_file
from .scene import Notice
from .units import METRES_PER_UNIT

TAPE_FILE, COMPARE_FILE = "tape.json", "compare.json"
PICTURES_INDEX = "photos/index.json"
CLOUD_FILE = "cloud.laz"  # labelled as measured; ids of planes are never used twice
ROOF_FILE = "roof.json"
JOB_READINGS = "job.toml"  # how the `where` of what a job states begins
OUTDATED = Notice(
    code="tape_outdated",
    text="tape measurements were held against another roof than this one; run slopewright tape again",
)
CODES = frozenset(
    {"tape_outdated", "tape_conflict", "tape_scale", "compare_outdated"}
)  # of notices that follow from checks alone


def copy_checks(source: Path, target: Path) -> None:
    """Take over what another folder's roof was held against, and the points it was measured from."""
    for name in (TAPE_FILE, COMPARE_FILE, CLOUD_FILE):
        if (source / name).exists():
            (target / name).write_bytes((source / name).read_bytes())


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


def write_comparison(
    folder: Path,
    roof: Roof,
    quantities: Takeoff,
    theirs: tuple[Theirs, ...],
    *,
    left_out: tuple[str, ...],
    exposure_m: float,
) -> Comparison:
    """Hold another list against ours and write compare.json."""
    ours = dispute.our_quantities(roof, quantities)
    found = dispute.compare(roof, theirs, ours, left_out=left_out, exposure_m=exposure_m)
    content = report.compare_json(found, theirs, exposure_m=exposure_m)
    (folder / COMPARE_FILE).write_bytes(report.json_bytes(content))
    return found


def settle_comparison(
    staging: Path, roof: Roof, quantities: Takeoff
) -> tuple[Comparison | None, tuple[Notice, ...]]:
    """The other list of a staged folder held against its quantities as they are now."""
    path = staging / COMPARE_FILE
    if not path.exists():
        return None, ()
    theirs, left_out, exposure_m = report.listed_from_json(report.read_json(path), file=str(path))
    ours = dispute.our_quantities(roof, quantities)
    kept = tuple(one for one in theirs if _still_ours(one, ours))
    gone = [one.item for one in theirs if one not in kept]
    told: tuple[Notice, ...] = ()
    if gone:
        text = f"lines of the other list have nothing of ours beside them any more: {', '.join(gone[:6])}"
        told = (Notice(code="compare_outdated", text=text),)
    if not kept:
        path.unlink()
        return None, told
    found = write_comparison(staging, roof, quantities, kept, left_out=left_out, exposure_m=exposure_m)
    return found, told


def read_comparison(folder: Path, roof: Roof, quantities: Takeoff) -> Comparison | None:
    """The other list that a run folder holds beside its quantities; None where there is none.

    Raises
    ------
    InputError
        If compare.json is not as it was written.
    """
    path = folder / COMPARE_FILE
    if not path.exists():
        return None
    theirs, left_out, exposure_m = report.listed_from_json(report.read_json(path), file=str(path))
    ours = dispute.our_quantities(roof, quantities)
    kept = tuple(one for one in theirs if _still_ours(one, ours))
    return dispute.compare(roof, kept, ours, left_out=left_out, exposure_m=exposure_m)


def _still_ours(line: Theirs, ours: Mapping[str, dispute.Ours]) -> bool:
    """Is there a quantity of ours that the line can be held against?"""
    mine = ours.get(line.ours)
    if mine is None:
        return False
    if line.in_packages:
        return mine.order is not None and mine.order.unit == line.unit
    return mine.unit == line.unit


def tape_against(roof: Roof, readings: Sequence[TapeReading], *, overhang_m: float | None) -> TapeCheck:
    """Hold readings against a roof; those between corners need its state."""
    apart = None
    if any(reading.corners is not None for reading in readings):
        apart = adjust.distances(roof, dispute.corner_pairs(roof, readings))
    scale_u = roof.state.doubt.scale if roof.state is not None else 0.0
    check = dispute.check_tape(roof, readings, apart=apart, scale_u=scale_u, overhang_m=overhang_m)
    return dispute.mark_held(check, roof.state.journal if roof.state is not None else ())


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
    results = tuple(replace(one, used=one.used or one.reading.where in used) for one in check.results)
    return replace(check, results=results)


def read_pictures(folder: Path) -> tuple[report.Picture, ...]:
    """What photos show of the roof of a run folder.

    Raises
    ------
    InputError
        If photos/index.json is not as it was written.
    """
    path = folder / PICTURES_INDEX
    if not path.exists():
        return ()
    files = {f"photos/{one.name}": one.read_bytes() for one in path.parent.iterdir() if one.is_file()}
    return report.pictures_of(report.read_json(path), files, file=str(path))


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
