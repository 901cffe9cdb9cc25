"""Captures of a roof with everything drawn that a user of the cloud does not know.  Metres; z is up.

The ranges are those within which the program is to hold; `strange` draws from outside of them, so that
bounds meet noise which no part of the program was written for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .airborne import airborne
from .photogrammetry import photogrammetry
from .sim_cloud import SimCloud
from .surroundings import Surroundings, draw_surroundings
from .terrestrial import terrestrial
from .truth import TrueRoof

Numbers = dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A class of captures: how it is made, and how densely.

    `density` is points (pulses) per m² of plan; from the ground, of a wall 10 m away.
    """

    way: str  # "lidar", "drone" or "ground"
    density: float


SENSORS = {
    "lidar-4": Sensor(way="lidar", density=4.0),
    "lidar-8": Sensor(way="lidar", density=8.0),
    "lidar-25": Sensor(way="lidar", density=25.0),
    "lidar-50": Sensor(way="lidar", density=50.0),
    "drone-200": Sensor(way="drone", density=200.0),
    "drone-600": Sensor(way="drone", density=600.0),
    "drone-2000": Sensor(way="drone", density=2000.0),
    "terrestrial": Sensor(way="ground", density=1000.0),
}


def drawn_surroundings(roof: TrueRoof, rng: np.random.Generator) -> Surroundings:
    """Trees (over a corner of every fourth roof), chimneys, pipes, a car and a neighbour by chance."""
    return draw_surroundings(
        roof,
        rng,
        trees=int(rng.integers(0, 4)),
        tree_over_corner=bool(rng.random() < 0.25),
        chimneys=int(rng.integers(0, 3)),
        pipes=int(rng.integers(0, 4)),
        cars=int(rng.integers(0, 2)),
        neighbours=int(rng.integers(0, 2)),
        ground_slope=float(rng.uniform(0, 0.08)),
        ground_rough_m=float(rng.uniform(0.01, 0.08)),
    )


def drawn_numbers(sensor: Sensor, rng: np.random.Generator, *, strange: bool = False) -> Numbers:
    """Noise and other parameters of a scan [m, rad], by the names that the scanners take."""
    _, draw = _WAYS[sensor.way]
    return draw(rng, sensor.density, strange)


def capture(
    sensor: Sensor,
    roof: TrueRoof,
    around: Surroundings,
    rng: np.random.Generator,
    *,
    strange: bool = False,
) -> tuple[SimCloud, Numbers]:
    """Scan a roof with drawn noise; its points in random order, and the numbers drawn."""
    numbers = drawn_numbers(sensor, rng, strange=strange)
    scan, _ = _WAYS[sensor.way]
    cloud = scan(roof, rng, sensor.density, numbers, around)
    order = rng.permutation(len(cloud.xyz))
    returns = None if cloud.n_returns is None else cloud.n_returns[order]
    number = None if cloud.return_number is None else cloud.return_number[order]
    shuffled = SimCloud(
        xyz=cloud.xyz[order],
        label=cloud.label[order],
        strip=cloud.strip[order],
        n_returns=returns,
        return_number=number,
    )
    return shuffled, numbers


def _airborne_numbers(rng: np.random.Generator, density: float, strange: bool) -> Numbers:
    """Noise of 3 to 10 cm with what neighbours share of it, strips, scan pattern and beam."""
    wide = 2.0 if strange else 1.0
    return {
        "noise_m": float(rng.uniform(0.03 / wide, 0.10 * min(wide, 1.5))),
        "correlated": float(rng.uniform(0.1, 0.5 if not strange else 0.8)),
        "correlation_m": float(np.exp(rng.uniform(np.log(0.5 / wide), np.log(3.0 * wide)))),
        "n_strips": float(rng.integers(1, 4)),
        "strip_lift_m": float(rng.uniform(0.0, 0.05 * wide)),
        "strip_shift_m": float(rng.uniform(0.0, 0.08 * wide)),
        "strip_tilt_rad": float(rng.uniform(0.0, 0.5e-3 * wide)),
        "line_ratio": float(np.exp(rng.uniform(-1, 1) * np.log(2.0 * wide))),
        "beam_m": float(rng.uniform(0.15 / wide, 0.4 * min(wide, 1.5))),
    }


def _scan_airborne(
    roof: TrueRoof, rng: np.random.Generator, density: float, numbers: Numbers, around: Surroundings
) -> SimCloud:
    """Each strip looks from its own side; every third file does not tell returns and strips."""
    options = dict(numbers)
    looks = rng.uniform(-0.26, 0.26, int(options.pop("n_strips")))
    cloud = airborne(roof, rng, density=density, looks_rad=list(looks), surroundings=around, **options)
    if rng.random() < 1 / 3:
        return SimCloud(xyz=cloud.xyz, label=cloud.label, strip=cloud.strip)
    return cloud


def _matched_numbers(rng: np.random.Generator, density: float, strange: bool) -> Numbers:
    """Correlated noise that falls with the size of a pixel; edges that bleed 2 to 7 cm, rounded creases.

    Every fourth cloud is sharp, as from a laser under a drone: no bleed, no rounding, little correlation.
    """
    wide = 2.0 if strange else 1.0
    numbers = {
        # the noise follows the ground size of a pixel, and a matched cloud has about a point a pixel or four
        "noise_m": float(rng.uniform(0.2, 0.5) * wide / np.sqrt(density)),
        "correlated": float(rng.uniform(0.6, 0.9)),
        "correlation_m": float(rng.uniform(0.5 / wide, 1.0 * wide)),
        "uneven": float(rng.uniform(0.0, 0.4 * wide)),
        "bleed_m": float(rng.uniform(0.02, 0.07 * wide)),
        "round_m": float(rng.uniform(0.05, 0.15 * wide)),
        "holes": float(rng.uniform(0.0, 0.06 * wide)),
        "skirts": float(rng.uniform(0.1, 0.5)),
        "walls": float(rng.uniform(0.0, 0.5)),
    }
    if rng.random() < 0.25:
        numbers |= {"correlated": float(rng.uniform(0.1, 0.4)), "bleed_m": 0.0, "round_m": 0.0, "skirts": 0.0}
    return numbers


def _scan_matched(
    roof: TrueRoof, rng: np.random.Generator, density: float, numbers: Numbers, around: Surroundings
) -> SimCloud:
    return photogrammetry(roof, rng, density=density, surroundings=around, **numbers)


def _ground_numbers(rng: np.random.Generator, density: float, strange: bool) -> Numbers:
    """Two to four stations; millimetres of range noise, and stations that fit to less than a centimetre."""
    wide = 2.0 if strange else 1.0
    return {
        "stations": float(rng.integers(2, 5)),
        "noise_m": float(rng.uniform(0.002, 0.006 * wide)),
        "registration_m": float(rng.uniform(0.002, 0.01 * wide)),
        "lean_rad": float(rng.uniform(0.0, 3e-4 * wide)),
        "thickness_m": float(rng.uniform(0.12, 0.3)),
    }


def _scan_ground(
    roof: TrueRoof, rng: np.random.Generator, density: float, numbers: Numbers, around: Surroundings
) -> SimCloud:
    options = dict(numbers)
    stations = int(options.pop("stations"))
    step_rad = 0.1 / np.sqrt(density)  # points 10 m away are 10 m times the step apart
    return terrestrial(roof, rng, stations=stations, step_rad=step_rad, surroundings=around, **options)


_WAYS = {
    "lidar": (_scan_airborne, _airborne_numbers),
    "drone": (_scan_matched, _matched_numbers),
    "ground": (_scan_ground, _ground_numbers),
}
