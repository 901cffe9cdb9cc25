"""The orchestrator: the order of the stages, and which of them a run folder already holds."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from . import adjust, cloud, edges, isolate, mesh, planes, report, takeoff
from .certify import reasons_against
from .errors import InputError, NoRoofError
from .intent import Intent, Options
from .job import Job, load_job
from .job.place import local_footprint, local_point
from .job.systems import read_system
from .outputs import ROOF_FILES, copy_roof, read_roof, read_takeoff, write_roof
from .roof import Frame, Roof, Takeoff
from .runfolder import (
    RECORD_FILE,
    TIMES_FILE,
    Clock,
    Progress,
    RunRecord,
    digest_folder,
    previous_run,
    written_whole,
)
from .scene import Cloud, RoofPoints, Scene
from .units import METRES_PER_UNIT

STAGES = ("read", "isolate", "planes", "edges", "adjust", "takeoff", "report")
TAKEOFF_SEED = 1  # any number: the same one gives the same orders
CHANGING = frozenset({RECORD_FILE, TIMES_FILE})
TRIM = 0.5  # per cent of a roof's heights at each end that may be stray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RunResult:
    """What a run folder holds, and how long the stages took that ran now."""

    folder: Path
    roof: Roof
    takeoff: Takeoff
    record: RunRecord
    seconds: dict[str, float]  # by stage; empty where the folder held all of it already


def measure(
    input_path: Path,
    out: Path | None = None,
    options: Options | None = None,
    progress: Progress = nullcontext,
) -> RunResult:
    """Measure a roof from a cloud: the whole way, into a run folder.

    Parameters
    ----------
    input_path : Path
        A cloud file or a job folder.
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
        _check_same_cloud(previous, intent, folder)
    held = None if options.force else previous
    if held and held.takeoff_key == intent.takeoff_key and held.is_intact(folder):
        return _result(folder, held, {})

    system = _load_system(intent)  # a fault in it is told before minutes of measuring
    clock = Clock(progress)
    with written_whole(folder, previous) as staging:
        if held and held.measure_key == intent.measure_key and held.is_intact(folder, ROOF_FILES):
            copy_roof(folder, staging)
            chosen, others = held.chosen, held.other_roofs
        else:
            roof, chosen, others = _measure_roof(job, options, clock)
            write_roof(staging, roof)
        record = _finish(staging, intent, system, chosen, others, clock)
    return _result(folder, record, clock.seconds)


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
    loaded = _load_system(intent)
    clock = Clock(progress)
    with written_whole(folder, previous) as staging:
        copy_roof(folder, staging)
        record = _finish(staging, intent, loaded, previous.chosen, previous.other_roofs, clock)
    return _result(folder, record, clock.seconds)


def _measure_roof(job: Job, options: Options, clock: Clock) -> tuple[Roof, str, list[dict[str, Any]]]:
    """The stages from file to roof; also the chosen roof's id and the other roofs."""
    with clock.stage("read"):
        scanned = cloud.read_cloud(job.cloud_path, unit=options.unit or job.unit)
    with clock.stage("isolate"):
        at = local_point(options.at, scanned) if options.at else None
        footprint = local_footprint(options.footprint, scanned) if options.footprint else None
        scene = _isolate(scanned, at, footprint)
        points = scene.roofs[scene.chosen]
        _check_house_size(points, scanned)
    with clock.stage("planes"):
        segmentation = planes.run(points)
    with clock.stage("edges"):
        topology = edges.run(points, segmentation)
    with clock.stage("adjust"):
        frame = Frame(origin=scanned.origin, crs=scanned.crs, ground_z_m=points.ground_z_m)
        roof = adjust.run(points, segmentation, topology, frame)
    stated = job.notices(scanned.unit)
    found = (scanned, scene, segmentation, topology, roof)
    notices = dict.fromkeys([*stated, *(notice for stage in found for notice in stage.notices)])
    return replace(roof, notices=tuple(notices)), points.id, _others(scene, scanned)


def _finish(
    staging: Path,
    intent: Intent,
    system: takeoff.System,
    chosen: str,
    others: list[dict[str, Any]],
    clock: Clock,
) -> RunRecord:
    """The stages from roof.json on; they start from the file, so that they can be run again from it."""
    roof = read_roof(staging)
    with clock.stage("takeoff"):
        quantities = takeoff.run(roof, system, intent.request, rng=np.random.default_rng(TAKEOFF_SEED))
    with clock.stage("report"):
        files = report.run(
            roof, quantities, mesh.run(roof), title=intent.name, metric=intent.options["metric"]
        )
        for name, content in files.items():
            (staging / name).write_bytes(content)
    clock.write(staging)
    record = intent.record(
        configs=_configs(),
        seeds={"takeoff": TAKEOFF_SEED},
        chosen=chosen,
        other_roofs=others,
        warnings=[asdict(notice) for notice in dict.fromkeys([*roof.notices, *quantities.notices])],
        not_certified=reasons_against(roof),
        files=digest_folder(staging, CHANGING) | {RECORD_FILE: None},
    )
    record.write(staging)
    return record


def _result(folder: Path, record: RunRecord, seconds: dict[str, float]) -> RunResult:
    return RunResult(
        folder=folder,
        roof=read_roof(folder),
        takeoff=read_takeoff(folder),
        record=record,
        seconds=seconds,
    )


def _load_system(intent: Intent) -> takeoff.System:
    return takeoff.system_from_toml(read_system(intent.system_path), file=str(intent.system_path))


def _configs() -> dict[str, dict[str, Any]]:
    """The resolved configuration of each stage that has one."""
    return {
        "isolate": asdict(isolate.IsolateConfig()),
        "planes": asdict(planes.PlanesConfig()),
        "edges": asdict(edges.EdgesConfig()),
        "adjust": asdict(adjust.AdjustConfig()),
    }


def _check_same_cloud(previous: RunRecord, intent: Intent, folder: Path) -> None:
    """A run of another cloud is not replaced unasked."""
    before = next((digest for digest in previous.inputs if digest.role == "cloud"), None)
    if before is not None and before.sha256 != intent.cloud().sha256:
        raise InputError(
            f"{folder}: holds a run of {before.name} ({before.sha256[:8]}), not of this"
            f" {intent.cloud().name} ({intent.cloud().sha256[:8]}); choose another --out or give --force"
        )


def _isolate(scanned: Cloud, at: tuple[float, float] | None, footprint: shapely.Polygon | None) -> Scene:
    """The roofs; where there is none, the size of the cloud goes with it, since a wrong unit hides roofs."""
    try:
        return isolate.run(scanned, at=at, footprint=footprint)
    except NoRoofError as error:
        dx, dy, dz = np.ptp(scanned.xyz, axis=0)
        size = f"read in {scanned.unit}, the cloud is {dx:,.0f} x {dy:,.0f} x {dz:,.1f} m"
        raise NoRoofError(f"{error} ({size})") from error


def _check_house_size(points: RoofPoints, scanned: Cloud) -> None:
    low_z, high_z = np.percentile(points.xyz[:, 2], [TRIM, 100 - TRIM])
    ground_z = low_z if points.ground_z_m is None else min(points.ground_z_m, low_z)
    dx, dy = np.ptp(points.footprint, axis=0)
    cloud.check_house_size(
        (float(dx), float(dy)),
        float(high_z - ground_z),
        scanned.unit,
        name=f"{scanned.name}: roof {points.id}",
    )


def _others(scene: Scene, scanned: Cloud) -> list[dict[str, Any]]:
    """The roofs that were found and not measured, each with a point that `--at` takes."""
    others = []
    for index, points in enumerate(scene.roofs):
        if index == scene.chosen:
            continue
        inside = shapely.Polygon(points.footprint).representative_point()
        world = (np.array([inside.x, inside.y]) + scanned.origin[:2]) / METRES_PER_UNIT[scanned.unit]
        others.append(
            {
                "id": points.id,
                "plan_area_m2": round(points.area_m2, 2),
                "at": [round(v, 2) for v in world.tolist()],
            }
        )
    return others
