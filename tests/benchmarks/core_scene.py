"""The scenes of the core's study, and the way of each from its raw cloud to the roof.  Metres."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import laspy
import numpy as np

from simulate import TrueRoof, cloud_of, random_roof
from simulate.captures import SENSORS, Numbers, capture, drawn_surroundings
from simulate.sim_cloud import SimCloud
from slopewright import adjust, edges, planes, scrutiny
from slopewright.cloud import read_cloud
from slopewright.finding import find_roof
from slopewright.intent import Options
from slopewright.roof import Frame, Roof
from slopewright.scene import Cloud
from slopewright.units import FOOT_M

ORIGIN = (500_000.0, 4_400_000.0, 200.0)  # where the scenes stand on the map
EVERY_FILE = 8  # one scene in so many goes through a file, in feet


def scene(sensor: str, kind: str, seed: int, *, strange: bool = False) -> tuple[TrueRoof, SimCloud, Numbers]:
    """A drawn roof and its scan; the same seed and kind are the same roof for every sensor."""
    truth = random_roof(kind, np.random.default_rng([seed, 1]))
    around = drawn_surroundings(truth, np.random.default_rng([seed, 2]))
    rng = np.random.default_rng([seed, 3, list(SENSORS).index(sensor)])
    return truth, *capture(SENSORS[sensor], truth, around, rng, strange=strange)


def as_read(sim: SimCloud, seed: int) -> Cloud:
    """The cloud as the stages get it; in every eighth scene out of a file in feet."""
    if seed % EVERY_FILE:
        return cloud_of(sim, origin=ORIGIN)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scene.las"
        _write_las(path, sim)
        return read_cloud(path, unit="ft")


def measure(truth: TrueRoof, cloud: Cloud) -> Roof:
    """From the cloud to the adjusted roof, as the program goes."""
    middle = truth.footprint.representative_point()
    shift = np.array(ORIGIN) - cloud.origin
    to_file_unit = 1.0 if cloud.unit == "m" else 1 / FOOT_M
    at = (np.array([middle.x, middle.y]) + ORIGIN[:2]) * to_file_unit
    found = find_roof(cloud, Options(at=(float(at[0]), float(at[1]))))
    segmentation = planes.run(found.points)
    topology = edges.run(found.points, segmentation)
    # the truth stands at the scene's own origin: say where that is in the cloud's local coordinates
    frame = Frame(origin=-shift, ground_z_m=found.points.ground_z_m)
    roof = adjust.run(found.points, segmentation, topology, frame)
    return replace(roof, notices=(*roof.notices, *scrutiny.run(found.points, segmentation, roof)))


def _write_las(path: Path, sim: SimCloud) -> None:
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.offsets = np.floor(np.array(ORIGIN) / FOOT_M)
    header.scales = np.full(3, 0.001)
    las = laspy.LasData(header)
    las.xyz = (sim.xyz + ORIGIN) / FOOT_M
    if sim.n_returns is not None and sim.return_number is not None:
        las.number_of_returns, las.return_number = sim.n_returns, sim.return_number
        las.point_source_id = sim.strip.astype(np.uint16) + np.uint16(1)
    las.write(path)
