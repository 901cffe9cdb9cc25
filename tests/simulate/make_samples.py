"""Make sample_inputs/house/cloud.laz, an invented house as an aircraft would scan it.

PYTHONPATH=tests python -m simulate.make_samples sample_inputs/house/cloud.laz
"""

from __future__ import annotations

import argparse
import datetime
import math
from pathlib import Path

import laspy
import numpy as np
import pyproj

from .clouds import SimCloud, airborne
from .draw import random_roof
from .envelope import build
from .layout import Box, centred, gable_planes, grown, ring, wing_of
from .surroundings import CAR, CHIMNEY, Ground, Surroundings, Tree
from .surroundings import Box as Block
from .truth import TrueRoof, move
from .wings import Wing

SEED = 20240611
EPSG = 25832
PLACE_M = (512_340.0, 5_403_210.0, 318.0)  # a spot on the map; no such house stands there
TURN_RAD = math.radians(23)
FIXED_DATE = datetime.date(2024, 6, 11)  # so that the file comes out the same, byte for byte, on any day
SCALE_M = 0.001

OVERHANG_M = 0.45
MAIN_PITCH_RAD = math.atan(7 / 12)
GARAGE_PITCH_RAD = math.atan(4 / 12)
MAIN: Box = centred(12.6, 8.2)
WING: Box = (-4.6, -7.3, 0.8, 0.0)  # to the front, under the main roof's ridge
GARAGE: Box = (6.3, -3.6, 12.1, 2.2)  # one storey, against the right gable wall
EAVE_M, GARAGE_EAVE_M = 5.3, 2.55


def sample_house() -> TrueRoof:
    """Two storeys under a gable with a cross gable to the front, and a garage whose ridge runs into the wall.

    Stands at (0, 0, 0), turned as in the sample; `PLACE_M` is added when it is written.
    """
    wing = (WING[0] - OVERHANG_M, WING[1] - OVERHANG_M, WING[2] + OVERHANG_M, WING[3])
    garage = (GARAGE[0], GARAGE[1] - OVERHANG_M, GARAGE[2] + OVERHANG_M, GARAGE[3] + OVERHANG_M)
    main_planes = gable_planes(grown(MAIN, OVERHANG_M), MAIN_PITCH_RAD, EAVE_M)
    house = build(
        "house",
        [
            wing_of(MAIN, OVERHANG_M, main_planes),
            Wing(
                plan=ring(wing),
                walls=ring(WING),
                planes=gable_planes(wing, MAIN_PITCH_RAD, EAVE_M, along="y"),
            ),
            Wing(
                plan=ring(garage),
                walls=ring(GARAGE),
                planes=gable_planes(garage, GARAGE_PITCH_RAD, GARAGE_EAVE_M),
                runs_under=True,
            ),
        ],
    )
    return move(house, TURN_RAD, (0.0, 0.0, 0.0))


def sample_surroundings() -> Surroundings:
    """A gentle slope, trees of which one stands over a corner, a chimney, two pipes, a car, a neighbour."""
    chimney = Block(
        centre=_at(3.4, 0.9), size=(0.65, 0.95), turn_rad=TURN_RAD, foot_m=5.0, top_m=9.0, label=CHIMNEY
    )
    pipes = [
        Block(centre=_at(x, y), size=(0.11, 0.11), turn_rad=0.0, foot_m=5.0, top_m=top, label=CHIMNEY)
        for x, y, top in ((-2.1, 2.3, 7.2), (0.9, 2.9, 6.8))
    ]
    car = [
        Block(centre=_at(9.2, -8.6), size=size, turn_rad=TURN_RAD + 1.6, foot_m=-1.0, top_m=top, label=CAR)
        for size, top in (((4.4, 1.8), 1.05), ((2.3, 1.6), 1.6))
    ]
    crowns = ((-7.6, 5.2, 5.4, 1.9, 2.6), (4.2, -9.5, 2.6, 1.5, 2.0), (-11.0, -3.0, 3.6, 2.2, 3.0))
    trees = [
        Tree(centre=(*_at(x, y), z), radius_m=radius, half_height_m=half) for x, y, z, radius, half in crowns
    ]
    neighbour = move(random_roof("hip", np.random.default_rng(SEED)), 0.0, (*_at(-2.0, 19.0), 0.3))
    return Surroundings(
        ground=Ground(slope=(0.01, 0.02), rough_m=0.04),
        trees=tuple(trees),
        boxes=(chimney, *pipes, *car),
        neighbours=(neighbour,),
    )


def _at(x: float, y: float) -> tuple[float, float]:
    """A spot beside the house, given along its walls [m]."""
    c, s = math.cos(TURN_RAD), math.sin(TURN_RAD)
    return (c * x - s * y, s * x + c * y)


def sample_cloud() -> SimCloud:
    """The house from two strips at 25 points per square metre."""
    return airborne(
        sample_house(),
        np.random.default_rng(SEED),
        density=25.0,
        noise_m=0.04,
        looks_rad=(math.radians(9), math.radians(-12)),
        margin_m=9.0,
        surroundings=sample_surroundings(),
    )


def write_laz(path: Path, cloud: SimCloud) -> None:
    """The cloud as LAS 1.4, point format 6, with classes, flight strips and the CRS as WKT."""
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.scales = np.full(3, SCALE_M)
    header.offsets = np.array(PLACE_M)
    header.creation_date = FIXED_DATE
    header.system_identifier = "invented"
    header.generating_software = "make_samples.py"
    header.add_crs(pyproj.CRS.from_epsg(EPSG))
    las = laspy.LasData(header)
    las.xyz = cloud.xyz + np.array(PLACE_M)
    las.classification = cloud.classes
    las.point_source_id = cloud.strip.astype(np.uint16) + 1
    las.return_number[:] = cloud.return_number
    las.number_of_returns[:] = cloud.n_returns
    las.write(path)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("laz", type=Path)
    write_laz(parser.parse_args().laz, sample_cloud())


if __name__ == "__main__":
    main()
