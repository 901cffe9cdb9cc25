"""The orchestrator: what can be done with a job and with a run folder, each whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from . import adjust, dispute, photos, report, scrutiny
from .checked import (
    CLOUD_FILE,
    copy_checks,
    job_readings,
    job_readings_of,
    read_table,
    read_tape_check,
    tape_again,
    tape_against,
    write_comparison,
    write_tape,
)
from .checks import TapeCheck, TapeReading
from .errors import InputError
from .finish import SEEDS, RunResult, finish, found_in, result_of, system_of, take_off_into, takeoff_notices
from .intent import ALL_FILES, ROOF_ONLY, Intent, Options, lost_record
from .job import Job, load_job
from .laid import copy_layout
from .outputs import (
    ROOF_FILE,
    ROOF_FILES,
    STATE_FILE,
    TAKEOFF_FILE,
    copy_roof,
    photo_pictures,
    read_editable,
    read_roof,
    read_takeoff,
    write_photos,
    write_roof,
)
from .roof import Roof, Takeoff
from .runfolder import RECORD_FILE, Clock, Progress, RunRecord, previous_run, written_whole
from .state import Edit
from .traced import trace
from .units import INCH_M

__all__ = [
    "STAGES",
    "Options",
    "RunResult",
    "amend",
    "compare",
    "measure",
    "redraw",
    "take_off",
    "tape",
    "undo",
]

STAGES = ("read", "reconstruct", "isolate", "planes", "edges", "adjust", "takeoff", "report")


def measure(
    input_path: Path,
    out: Path | None = None,
    options: Options | None = None,
    progress: Progress = nullcontext,
) -> RunResult:
    """Measure a roof from a cloud or from photos: the whole way, into a run folder.

    Parameters
    ----------
    input_path : Path
        A cloud file, a folder of photos or a job folder.
    out : Path, optional
        The run folder; by default beside the input.
    options : Options, optional
    progress : callable
        Wraps each stage as it runs.

    Returns
    -------
    RunResult
        Stages that the folder already holds, of the same inputs, options and program, are not repeated.

    Raises
    ------
    InputError
        If something given cannot be used; the folder is then left as it was.
    """
    options = options or Options()
    job = load_job(input_path)
    intent = Intent.of_job(job, options)
    folder = out or job.default_run
    previous = previous_run(folder)
    if previous and not options.force:
        intent.check_same_cloud(previous, folder)
    held = None if options.force else previous
    if held and held.takeoff_key == intent.takeoff_key and held.is_intact(folder):
        return result_of(folder, held, {})

    system = system_of(intent)  # a fault in it is told before minutes of measuring
    clock = Clock(progress)
    with written_whole(folder, previous) as staging:
        if held and held.measure_key == intent.measure_key and held.is_intact(folder, ROOF_FILES):
            copy_roof(folder, staging)
            copy_checks(folder, staging)
            found = found_in(held, folder, ROOF_FILES)
        else:
            if held:
                _check_no_corrections(held, folder)
            roof, readings, found, shown = _measure_roof(job, options, clock)
            write_roof(staging, roof)
            write_photos(staging, shown)
            if readings:
                write_tape(staging, tape_against(roof, readings, overhang_m=intent.request.site.overhang_m))
            elif previous:
                copy_checks(folder, staging)
        roof = read_roof(staging)  # so that the same comes out when the later stages run again from the file
        record = finish(
            staging, intent, roof, take_off_into(staging, roof, system, intent, clock), found, clock
        )
    return result_of(folder, record, clock.seconds)


def take_off(
    folder: Path,
    system: str | None = None,
    *,
    metric: bool | None = None,
    progress: Progress = nullcontext,
) -> RunResult:
    """Quantities and all that hangs on them again, from the roof that a run folder holds.

    Parameters
    ----------
    folder : Path
        A run folder; its files are replaced together or not at all.
    system : str, optional
        A roof system other than the run's.
    metric : bool, optional
        Units of the drawing other than the run's.

    Raises
    ------
    InputError
        If this is no run folder, or the system cannot be used.
    """
    previous = RunRecord.read(folder)
    intent = Intent.of_record(previous, system=system, metric=metric)
    loaded = system_of(intent)
    clock = Clock(progress)
    roof = read_roof(folder)
    with written_whole(folder, previous) as staging:
        copy_roof(folder, staging)
        copy_checks(folder, staging)
        quantities = take_off_into(staging, roof, loaded, intent, clock)
        record = finish(staging, intent, roof, quantities, found_in(previous, folder, ROOF_FILES), clock)
    return result_of(folder, record, clock.seconds)


def amend(folder: Path, edits: Sequence[Edit], *, progress: Progress = nullcontext) -> RunResult:
    """Correct the roof of a run folder by hand: adjusted and bounded again, and all that follows from it.

    Parameters
    ----------
    folder : Path
        A run folder; its files are replaced together or not at all.
    edits : sequence of Edit
        Appended to the journal in state.json, in this order.

    Raises
    ------
    InputError
        If an edit names what the roof has not or leaves no possible roof, or the files were changed.
    """
    return _correct(folder, lambda roof: adjust.replay(roof, tuple(edits)), progress)


def undo(folder: Path, *, progress: Progress = nullcontext) -> RunResult:
    """Take back the last correction of a run folder: its roof is what it was before, to the last bit.

    Raises
    ------
    InputError
        If there is none, or the files were changed.
    """
    return _correct(folder, adjust.undo, progress)


def redraw(folder: Path, *, metric: bool | None = None, progress: Progress = nullcontext) -> RunResult:
    """Every drawing, table and exchange file again, from roof.json and takeoff.json as they are.

    Parameters
    ----------
    folder : Path
        A run folder, or one that has at least those two files; all is replaced together or not at all.
    metric : bool, optional
        Units of the drawing other than the run's.

    Raises
    ------
    InputError
        If this is no run folder, or one of the two files is not as its schema has it.
    """
    previous = _record_or_files(folder)
    intent = Intent.of_record(previous, metric=metric, files=ALL_FILES)
    clock = Clock(progress)
    roof = read_roof(folder)
    quantities = read_takeoff(folder, takeoff_notices(previous, roof))
    return _again(folder, previous, intent, roof, quantities, clock)


def tape(
    folder: Path, table: Path, *, adjusting: bool = False, progress: Progress = nullcontext
) -> RunResult:
    """Hold tape measurements against the roof of a run folder, and adjust it to those that agree if asked.

    Parameters
    ----------
    folder : Path
        A run folder; its files are replaced together or not at all.
    table : Path
        CSV, as `dispute.read_tape` has it.  What job.toml states is held against the roof with it.
    adjusting : bool
        Readings of one edge each that agree become corrections, unless all together say another scale.

    Raises
    ------
    InputError
        If this is no run folder, or a line of the table cannot be used: nothing is written then.
    """
    previous = RunRecord.read(folder)
    roof = read_roof(folder)
    if previous.is_intact(folder, (*ROOF_FILES, STATE_FILE)):
        roof = replace(roof, state=read_editable(folder).state)
    before = read_tape_check(folder)
    readings = dispute.read_tape(read_table(table), file=table.name, roof=roof)
    check = tape_against(
        roof,
        [*job_readings_of(before), *readings],
        overhang_m=Intent.of_record(previous).request.site.overhang_m,
    )
    if adjusting and (edits := dispute.edits_of(check)):
        return _correct(
            folder, lambda roof: adjust.replay(roof, edits), progress, dispute.mark_used(check, edits)
        )
    intent = Intent.of_record(previous)
    clock = Clock(progress)
    quantities = read_takeoff(folder, takeoff_notices(previous, roof))
    return _again(
        folder, previous, intent, roof, quantities, clock, lambda staging: write_tape(staging, check)
    )


def compare(
    folder: Path, table: Path, names: Path | None = None, *, progress: Progress = nullcontext
) -> RunResult:
    """Hold another party's quantities against those of a run folder.

    Parameters
    ----------
    folder : Path
        A run folder; its files are replaced together or not at all.
    table : Path
        CSV, as `dispute.read_other` has it.
    names : Path, optional
        TOML that maps their wording to ours, as `dispute.read_names` has it.

    Raises
    ------
    InputError
        If this is no run folder, or a line of a file cannot be used: nothing is written then.
    """
    previous = RunRecord.read(folder)
    intent = Intent.of_record(previous)
    clock = Clock(progress)
    roof = read_roof(folder)
    quantities = read_takeoff(folder, takeoff_notices(previous, roof))
    ours = dispute.our_quantities(roof, quantities)
    mapped = dispute.read_names(read_table(names), file=names.name, ours=ours) if names is not None else {}
    theirs, left_out = dispute.read_other(read_table(table), file=table.name, ours=ours, names=mapped)
    exposure_m = system_of(intent).shingle.exposure_in * INCH_M
    return _again(
        folder,
        previous,
        intent,
        roof,
        quantities,
        clock,
        lambda staging: write_comparison(
            staging, roof, quantities, theirs, left_out=left_out, exposure_m=exposure_m
        ),
    )


def _again(
    folder: Path,
    previous: RunRecord,
    intent: Intent,
    roof: Roof,
    quantities: Takeoff,
    clock: Clock,
    add: Callable[[Path], object] = lambda staging: None,
) -> RunResult:
    """All files again from the roof and quantities that a folder holds, with what `add` writes to them."""
    with written_whole(folder, previous) as staging:
        copy_roof(folder, staging)
        copy_layout(folder, staging)
        copy_checks(folder, staging)
        add(staging)
        found = found_in(previous, folder, (*ROOF_FILES, TAKEOFF_FILE))
        record = finish(staging, intent, roof, quantities, found, clock)
    return result_of(folder, record, clock.seconds)


def _correct(
    folder: Path, change: Callable[[Roof], Roof], progress: Progress, check: TapeCheck | None = None
) -> RunResult:
    previous = RunRecord.read(folder)
    if not previous.measure_key or not previous.is_intact(folder, (*ROOF_FILES, STATE_FILE)):
        raise InputError(
            f"{folder}: {', '.join((*ROOF_FILES, STATE_FILE))}: missing or changed since they were measured,"
            " and corrections start from them; measure again with --force"
        )
    intent = Intent.of_record(previous)
    system = system_of(intent)
    clock = Clock(progress)
    with clock.stage("adjust"):
        corrected = change(read_editable(folder))
    with written_whole(folder, previous) as staging:
        copy_roof(folder, staging)
        copy_checks(folder, staging)
        write_roof(staging, corrected)
        roof = read_roof(staging)
        check = check or tape_again(folder, corrected, overhang_m=intent.request.site.overhang_m)
        if check is not None:
            write_tape(staging, check)
        found = found_in(previous, folder, ROOF_FILES)
        found["corrections"] = len(corrected.state.journal) if corrected.state else 0
        record = finish(
            staging, intent, roof, take_off_into(staging, roof, system, intent, clock), found, clock
        )
    return result_of(folder, record, clock.seconds)


def _measure_roof(
    job: Job, options: Options, clock: Clock
) -> tuple[Roof, tuple[TapeReading, ...], dict[str, Any], dict[str, bytes]]:
    """The stages from file to roof; also lengths the job states, which roofs there are, what photos show."""
    traced = trace(job, options, clock, rng=np.random.default_rng(SEEDS["reconstruct"]))
    points, segmentation, block = traced.points, traced.segmentation, traced.block
    with clock.stage("adjust"):
        roof = adjust.run(points, segmentation, traced.topology, traced.frame, traced.doubt)
        doubts = () if traced.by_corners else scrutiny.run(points, segmentation, roof)
        shown: dict[str, bytes] = {}
        if block is not None:
            things = () if traced.by_corners else photos.things_on(points, roof)
            roof = replace(roof, objects=tuple(each.thing for each in things))
            shown = {photos.CAMERAS_FILE: photos.cameras_json(block)} | photo_pictures(block, roof, things)
    readings, stated = job_readings(job, roof, traced.unit)
    told = tuple(dict.fromkeys([*stated, *traced.told, *doubts]))
    roof = replace(
        roof,
        notices=tuple(dict.fromkeys([*told, *roof.notices])),
        state=roof.state and replace(roof.state, told=told),
    )
    if options.files != ROOF_ONLY:
        shown[CLOUD_FILE] = report.cloud_laz(points, segmentation, roof)
    return roof, readings, {"chosen": points.id, "other_roofs": traced.others}, shown


def _record_or_files(folder: Path) -> RunRecord:
    """The record of a run folder; of one that lost it, what the roof and the quantities themselves say."""
    lost = not (folder / RECORD_FILE).exists()
    if lost and (folder / ROOF_FILE).exists() and (folder / TAKEOFF_FILE).exists():
        return lost_record(folder.resolve().stem, read_takeoff(folder, ()).system)
    return RunRecord.read(folder)


def _check_no_corrections(held: RunRecord, folder: Path) -> None:
    """Refuse to measure over what somebody corrected by hand."""
    if held.corrections:
        raise InputError(
            f"{folder}: holds {held.corrections} correction(s) made by hand to a roof of other inputs,"
            " options or version; choose another --out, or give --force to measure again without them"
        )
