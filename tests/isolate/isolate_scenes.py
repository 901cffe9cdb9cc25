"""Scenes for the tests of isolating: simulated houses with what stands around them."""

import numpy as np
import shapely

from simulate import Surroundings, airborne, bare, move, photogrammetry, shapes
from simulate.surroundings import Ground, Tree
from slopewright.scene import Cloud, RoofPoints

ROOF = {"length_m": 12.0, "span_m": 8.0, "pitch_rad": np.radians(30)}
GABLE = shapes.gable(**ROOF)
OVERHANG_M = 0.4  # of both houses of a pair, at the sides that face each other


def cloud(xyz, classes=None, **more):
    return Cloud(xyz=np.array(xyz, dtype=float), origin=np.zeros(3), name="scan.laz", classes=classes, **more)


def two_level(lower_pitch_deg=10.0, **more):
    return shapes.two_level(
        **ROOF, lower_width_m=6.0, lower_depth_m=4.0, lower_pitch_rad=np.radians(lower_pitch_deg), **more
    )


def pair(gap_m, *, along):
    """Two houses with `gap_m` between their eaves or between their rakes, turned out of the grid."""
    other = shapes.hip(length_m=10.0, span_m=7.0, pitch_rad=np.radians(25))
    if along == "rakes":
        shift = ((12 + 10) / 2 + 2 * OVERHANG_M + gap_m, 0.0, 0.0)
    else:
        shift = (0.0, (8 + 7) / 2 + 2 * OVERHANG_M + gap_m, 0.0)
    return move(GABLE, 0.4, (0, 0, 0)), move(move(other, 0, shift), 0.4, (0, 0, 0))


def sense(roof, sensor, density, seed, surroundings=None, **more):
    take = {"air": airborne, "drone": photogrammetry}[sensor]
    surroundings = surroundings or bare(roof)
    return take(roof, np.random.default_rng(seed), density=density, surroundings=surroundings, **more)


def around(trees=(), slope=(0.0, 0.0), neighbours=()):
    return Surroundings(
        ground=Ground(slope=slope),
        trees=tuple(Tree(centre=c, radius_m=r, half_height_m=h) for c, r, h in trees),
        neighbours=neighbours,
    )


def kept(points: RoofPoints, chosen):
    """Share of the chosen points of the cloud that the roof holds."""
    return float(np.isin(np.flatnonzero(chosen), points.indices).mean())


def overlap(points: RoofPoints, polygon):
    """Intersection over union of the outline with a polygon."""
    own = shapely.Polygon(points.footprint)
    return own.intersection(polygon).area / own.union(polygon).area
