"""The cloud as the page draws it: points near the roof, shuffled: any first part is an even sample."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from ..errors import InputError
from .jobfile import write_whole
from .places import Places

MOST_POINTS = 500_000  # a laptop without a graphics card turns as many with patience
AROUND_M = 6.0  # beyond the roof that is shown
POINTS_FILE = "points.bin"  # float32 x, y, z of each point, little-endian
CLOUD_OF_RUN = "cloud.laz"  # of photos: what they show of the roof


def write_points(places: Places, job: str) -> Path:
    """Write the points of a job's cloud round its roof; give the file.

    Raises
    ------
    InputError
        If there is no run, or its cloud is gone.
    """
    from .. import cloud
    from ..job import load_job
    from ..outputs import ROOF_FILE

    folder = places.run(job)
    target = places.cache(job) / POINTS_FILE
    roof_path = folder / ROOF_FILE
    if not roof_path.is_file():
        raise InputError(f"{job}: not measured yet, nothing to show")
    roof = json.loads(roof_path.read_text(encoding="utf-8"))
    given = load_job(places.job(job))
    if given.photos and not (folder / CLOUD_OF_RUN).is_file():
        write_whole(target, b"")  # a roof from marked corners has no cloud
        return target
    if given.photos:
        scanned = cloud.read_cloud(folder / CLOUD_OF_RUN, unit="m")
    else:
        record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
        scanned = cloud.read_cloud(given.cloud_path, unit=record["options"]["unit"])
    corners = np.array([corner for plane in roof["planes"] for corner in plane["outline"]])
    xyz = scanned.xyz + (scanned.origin - np.array(roof["frame"]["origin"]))
    low, high = corners[:, :2].min(axis=0) - AROUND_M, corners[:, :2].max(axis=0) + AROUND_M
    near = np.flatnonzero(((xyz[:, :2] >= low) & (xyz[:, :2] <= high)).all(axis=1))
    order = np.random.default_rng(0).permutation(len(near))[:MOST_POINTS]
    write_whole(target, xyz[near[order]].astype("<f4").tobytes())
    return target
