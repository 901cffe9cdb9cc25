"""The simulated scanner on a tripod against the geometry of its rays."""

import math

import numpy as np
import pytest
import shapely

from simulate import shapes, terrestrial
from simulate.surroundings import WALL
from simulate.terrestrial import EYE_M, MIXED

EXACT = {"noise_m": 0.0, "registration_m": 0.0, "lean_rad": 0.0}
STEEP = shapes.gable(length_m=10, span_m=8, pitch_rad=math.atan(9 / 12), overhang_m=0.4)


def scan(roof, away_m, **options):
    """Four stations at one distance from the house."""
    options = EXACT | {"stations": 4, "step_rad": 4e-3, "away_m": (away_m, away_m)} | options
    return terrestrial(roof, np.random.default_rng(1), **options)


def test_points_lie_on_what_they_are_labelled_with():
    cloud = scan(STEEP, 15)
    for k, plane in enumerate(STEEP.planes):
        points = cloud.xyz[cloud.label == k]
        assert len(points) > 500
        np.testing.assert_allclose(points @ plane.normal, plane.offset, atol=1e-6)
        assert shapely.contains_xy(plane.plan.buffer(1e-6), *points[:, :2].T).all()


@pytest.mark.parametrize(("away_m", "seen"), [(5.0, False), (20.0, True)])
def test_a_flat_slope_is_seen_from_afar_only(away_m, seen):
    """Oracle: the eye sees a slope if the line to its eave is flatter than the slope itself.

    The eave is 1.4 m above the eye: 15.6 degrees from 5 m, 4.0 from 20 m; the slope has 9.5.
    """
    pitch = math.atan(2 / 12)
    roof = shapes.gable(length_m=10, span_m=8, pitch_rad=pitch, overhang_m=0.4, eave_z_m=3.0)
    assert (math.atan((3.0 - EYE_M) / away_m) < pitch) == seen
    assert ((scan(roof, away_m).label >= 0).sum() > 100) == seen


def test_undersides_hang_below_the_roof_by_its_thickness():
    """Points off the walls and fascias, inside the footprint: exactly the thickness below the surface."""
    cloud = scan(STEEP, 8, thickness_m=0.25)
    walls = shapely.Polygon(np.array([(w.start) for w in STEEP.walls])).convex_hull
    on = (cloud.label == WALL) & (cloud.xyz[:, 2] > 2.5)
    xyz = cloud.xyz[on]
    spots = shapely.points(xyz[:, :2])
    between = ~shapely.contains(walls.buffer(0.02), spots) & shapely.contains(
        STEEP.footprint.buffer(-0.02), spots
    )
    below = np.min([p.height(xyz[between, :2]) for p in STEEP.planes], axis=0) - xyz[between, 2]
    assert between.sum() > 100
    np.testing.assert_allclose(below, 0.25, atol=1e-6)


def test_density_of_a_wall_is_that_of_the_fan():
    """Oracle: a wall square to the beam at distance d has 1 / (d step)² points per m²."""
    cloud = scan(STEEP, 12, step_rad=5e-3)
    front = (np.abs(cloud.xyz[:, 1] + 4.0) < 1e-6) & (cloud.label == WALL)
    middle = front & (np.abs(cloud.xyz[:, 0]) < 1.0) & (np.abs(cloud.xyz[:, 2] - EYE_M) < 0.7)
    stations = {int(s) for s in cloud.strip[middle]}
    assert stations
    # they stand 12 m from the outline, 12.4 from the wall where they meet it squarely, farther elsewhere
    density = middle.sum() / (2.0 * 1.4)
    square = 1 / (12.4 * 5e-3) ** 2
    assert 0.3 * square < density < len(stations) * 1.05 * square


def test_mixed_points_hang_between_what_the_beam_met():
    assert not (scan(STEEP, 10, beam_m=0.0, spread_rad=0.0).label == MIXED).any()
    cloud = scan(STEEP, 10)
    share = np.mean(cloud.label == MIXED)
    assert 0.001 < share < 0.1


def test_noise_along_the_beam_is_as_said():
    """Walls met nearly squarely scatter by the stated range noise."""
    cloud = scan(STEEP, 15, noise_m=0.01, spread_rad=0.0, beam_m=0.0)
    wall = (cloud.label == WALL) & (np.abs(cloud.xyz[:, 1] + 4) < 0.06) & (np.abs(cloud.xyz[:, 0]) < 2)
    wall &= (cloud.xyz[:, 2] > 0.3) & (cloud.xyz[:, 2] < 2.5)
    assert 0.008 < np.std(cloud.xyz[wall, 1] + 4) < 0.02
