"""The second half of the way: quantities and all files that follow from a roof, and the record of a run."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from . import __version__, adjust, edges, isolate, mesh, planes, report, takeoff
from .certify import reasons_against
from .checked import CODES, read_comparison, read_pictures, read_tape_check, settle_comparison, settle_tape
from .checks import Comparison, TapeCheck
from .intent import ROOF_ONLY, Intent
from .job.systems import read_system
from .laid import write_layout
from .outputs import read_roof, read_takeoff
from .roof import Roof, Takeoff
from .runfolder import (
    RECORD_FILE,
    TIMES_FILE,
    Clock,
    RunRecord,
    digest_folder,
    library_versions,
    source_digest,
)
from .scene import Notice

SEEDS = {"reconstruct": 1, "takeoff": 1}  # any numbers: the same ones give the same orders
CHANGING = frozenset({RECORD_FILE, TIMES_FILE})
EDITED = Notice(code="edited", text="roof.json or takeoff.json was changed by hand after the measuring")
NO_RECORD = Notice(code="no_record", text="run.json was lost: what the roof was measured from is not known")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RunResult:
    """What a run folder holds, and how long the stages took that ran now."""

    folder: Path
    roof: Roof
    takeoff: Takeoff
    record: RunRecord
    seconds: dict[str, float]  # by stage; empty where the folder held all of it already
    tape: TapeCheck | None = None
    comparison: Comparison | None = None


def take_off_into(staging: Path, roof: Roof, system: takeoff.System, intent: Intent, clock: Clock) -> Takeoff:
    """The quantities; the courses that they rest on are written at once, unless few files are asked for."""
    with clock.stage("takeoff"):
        quantities = takeoff.run(roof, system, intent.request, rng=np.random.default_rng(SEEDS["takeoff"]))
        if intent.options["files"] != ROOF_ONLY:
            write_layout(staging, roof, system, intent.request)
        return quantities


def finish(
    staging: Path, intent: Intent, roof: Roof, quantities: Takeoff, found: dict[str, Any], clock: Clock
) -> RunRecord:
    """Write what follows from the roof and the quantities, and the record of it all."""
    check, told = settle_tape(staging)
    other, outdated = settle_comparison(staging, roof, quantities)
    with clock.stage("report"):
        for name, content in _files(staging, intent, roof, quantities, check, other).items():
            (staging / name).write_bytes(content)
    clock.write(staging)
    known = any(digest.role != "system" for digest in intent.inputs)
    edited = () if found.get("measure_key") != "" else (EDITED,) if known else (NO_RECORD,)
    record = intent.record(
        configs={
            "isolate": asdict(isolate.IsolateConfig()),
            "planes": asdict(planes.PlanesConfig()),
            "edges": asdict(edges.EdgesConfig()),
            "adjust": asdict(adjust.AdjustConfig()),
        },
        seeds=SEEDS,
        warnings=[
            asdict(notice)
            for notice in dict.fromkeys([*edited, *told, *outdated, *roof.notices, *quantities.notices])
        ],
        not_certified=reasons_against(roof),
        files=digest_folder(staging, CHANGING) | {RECORD_FILE: None},
        **found,
    )
    record.write(staging)
    return record


def _files(
    staging: Path,
    intent: Intent,
    roof: Roof,
    quantities: Takeoff,
    check: TapeCheck | None,
    other: Comparison | None,
) -> dict[str, bytes]:
    if intent.options["files"] == ROOF_ONLY:
        return report.tables(quantities)
    return report.run(
        roof,
        quantities,
        mesh.run(roof),
        title=intent.name,
        metric=intent.options["metric"],
        provenance=_provenance(intent, roof),
        tape=check,
        comparison=other,
        pictures=read_pictures(staging),
    )


def _provenance(intent: Intent, roof: Roof) -> report.Provenance:
    return report.Provenance(
        version=__version__,
        source=source_digest(),
        libraries=library_versions(),
        inputs=tuple(report.SourceFile(**asdict(digest)) for digest in intent.inputs),
        options=intent.options,
        request=asdict(intent.request),
        seeds=SEEDS,
        not_certified=tuple(reasons_against(roof)),
    )


def found_in(previous: RunRecord, folder: Path, names: tuple[str, ...]) -> dict[str, Any]:
    """What a run folder says of the roofs; where a file was edited, no measuring may take it for its own."""
    kept: dict[str, Any] = {
        "chosen": previous.chosen,
        "other_roofs": previous.other_roofs,
        "corrections": previous.corrections,
    }
    intact = previous.measure_key and previous.is_intact(folder, names)
    return kept if intact else kept | {"measure_key": "", "takeoff_key": ""}


def takeoff_notices(record: RunRecord, roof: Roof) -> tuple[Notice, ...]:
    """What the takeoff had to tell when its run was written."""
    told = record.notices(but=(EDITED, NO_RECORD, *roof.notices))
    return tuple(notice for notice in told if notice.code not in CODES)


def system_of(intent: Intent) -> takeoff.System:
    return takeoff.system_from_toml(read_system(intent.system_path), file=str(intent.system_path))


def result_of(folder: Path, record: RunRecord, seconds: dict[str, float]) -> RunResult:
    roof = read_roof(folder)
    quantities = read_takeoff(folder, record.notices(but=roof.notices))
    return RunResult(
        folder=folder,
        roof=roof,
        takeoff=quantities,
        record=record,
        seconds=seconds,
        tape=read_tape_check(folder),
        comparison=read_comparison(folder, roof, quantities),
    )
