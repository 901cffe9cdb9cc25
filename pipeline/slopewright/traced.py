"""The first half of the way: from a job's cloud or photos to a roof that is traced and not yet adjusted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from . import adjust, cloud, edges, photos, planes
from .finding import find_roof
from .intent import Options
from .job import Job
from .runfolder import Clock
from .scene import Cloud, Notice, RoofPoints, Segmentation, Topology
from .state import Frame


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Traced:
    """What the adjustment starts from."""

    points: RoofPoints
    segmentation: Segmentation
    topology: Topology
    frame: Frame
    doubt: adjust.AdjustConfig  # what residuals cannot show
    unit: str  # of coordinates that the job gives
    told: tuple[Notice, ...]  # by the stages so far
    others: list[dict[str, Any]]  # roofs that are not measured
    block: photos.Block | None = None  # of a job of photos
    by_corners: bool = False  # the points are marked corners, and no cloud


def trace(job: Job, options: Options, clock: Clock, *, rng: np.random.Generator) -> Traced:
    """Read a cloud, or make one of photos, and trace the roof that is to be measured.

    Parameters
    ----------
    job : Job
    options : Options
    clock : Clock
    rng : Generator
        For placing photos.

    Raises
    ------
    InputError
        If the job has nothing that can be measured.
    """
    if job.cloud is not None:
        with clock.stage("read"):
            scanned = cloud.read_cloud(job.cloud, unit=options.unit or job.unit)
        return _of_cloud(scanned, None, options, clock)
    with clock.stage("read"):
        marks = photos.read_marks(job.marks_path) if job.marks_path else photos.Marks(file=photos.MARKS_FILE)
        sorted_out = photos.triage(job.photos)
    with clock.stage("reconstruct"):
        placed = photos.place(sorted_out, marks, job.known, rng=rng)
        if isinstance(placed, photos.CornerRoof):
            return _of_corners(placed)
        block, scanned = _level_cloud(placed, options)
    return _of_cloud(scanned, block, options, clock)


def _level_cloud(block: photos.Block, options: Options) -> tuple[photos.Block, Cloud]:
    """The dense cloud of a block, both turned level by the house where photos tell the vertical badly."""
    scanned = photos.dense_cloud(block)
    points = find_roof(scanned, options).points
    segmentation = planes.run(points)
    return photos.levelled_by_house(block, scanned, segmentation, edges.run(points, segmentation))


def _of_cloud(scanned: Cloud, block: photos.Block | None, options: Options, clock: Clock) -> Traced:
    with clock.stage("isolate"):
        found = find_roof(scanned, options)
    with clock.stage("planes"):
        segmentation = planes.run(found.points)
    with clock.stage("edges"):
        topology = edges.run(found.points, segmentation)
        if block is not None:
            topology = photos.place_edges(block, segmentation, topology)
    stages = (scanned, *((block,) if block is not None else ()), found, segmentation, topology)
    return Traced(
        points=found.points,
        segmentation=segmentation,
        topology=topology,
        frame=Frame(origin=scanned.origin, crs=scanned.crs, ground_z_m=found.points.ground_z_m),
        doubt=_doubt(block.scale_u, block.tilt_u_rad) if block is not None else adjust.AdjustConfig(),
        unit=scanned.unit,
        told=tuple(notice for stage in stages for notice in stage.notices),
        others=found.others,
        block=block,
    )


def _of_corners(roof: photos.CornerRoof) -> Traced:
    block = roof.marked.block
    return Traced(
        points=roof.points,
        segmentation=roof.segmentation,
        topology=roof.topology,
        frame=Frame(origin=block.origin, crs=block.crs, ground_z_m=roof.points.ground_z_m),
        doubt=_doubt(roof.scale_u, roof.tilt_u_rad),
        unit="m",
        told=(*block.notices, *roof.segmentation.notices, *roof.topology.notices),
        others=[],
        block=block,
        by_corners=True,
    )


def _doubt(scale_u: float, tilt_u_rad: float) -> adjust.AdjustConfig:
    """What the residuals of a cloud cannot show: of photos, scale and level as they were placed."""
    return adjust.AdjustConfig(scale_sd=scale_u, tilt_sd_rad=tilt_u_rad)
