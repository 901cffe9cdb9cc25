"""Points that are there twice, and echoes from below the ground.  Oracle: what was done to a sound cloud."""

import numpy as np
import pytest
from isolate_scenes import GABLE, around, cloud, overlap, sense

from slopewright.isolate import run

SCAN = sense(GABLE, "air", 12.0, 1, around(), margin_m=8.0)
DENSE = sense(GABLE, "drone", 150.0, 2, around(), margin_m=5.0)
SOUND = run(cloud(SCAN.xyz))


@pytest.mark.parametrize("jitter_m", [0.0, 0.001])
def test_points_that_come_several_times_count_once(jitter_m):
    rng = np.random.default_rng(3)
    again = np.repeat(SCAN.xyz, 4, axis=0)
    again = again + rng.uniform(-jitter_m, jitter_m, again.shape)
    scene = run(cloud(again[rng.permutation(len(again))]))
    (roof,), (sound,) = scene.roofs, SOUND.roofs
    assert "points_repeated" in {notice.code for notice in scene.notices}
    assert len(roof.xyz) == pytest.approx(len(sound.xyz), rel=0.02)
    assert roof.area_m2 == pytest.approx(sound.area_m2, rel=0.02)


@pytest.mark.parametrize("xyz", [SCAN.xyz, DENSE.xyz], ids=["air", "drone"])
def test_a_sound_cloud_has_no_repetitions(xyz):
    assert run(cloud(xyz)).notices == ()


@pytest.mark.parametrize("scan", [SCAN, DENSE], ids=["air", "drone"])
@pytest.mark.parametrize("share", [0.01, 0.05])
def test_echoes_from_below_do_not_lower_the_ground(scan, share):
    """1 and 5 of 100 points come 1 m too low on average, multipath as mirrors and wet tiles make it."""
    rng = np.random.default_rng(4)
    xyz = scan.xyz.copy()
    low = rng.random(len(xyz)) < share
    xyz[low, 2] -= rng.exponential(1.0, int(low.sum()))
    (roof,) = run(cloud(xyz)).roofs
    assert overlap(roof, GABLE.footprint) > 0.85
    assert roof.ground_z_m == pytest.approx(0.0, abs=0.25)


def level(side_m, density=100.0):
    xy = np.random.default_rng(5).uniform(0, side_m, (int(density * side_m**2), 2))
    return np.column_stack([xy, np.random.default_rng(6).normal(0, 0.01, len(xy))])


def test_a_level_surface_without_ground_is_measured_and_doubted():
    """A flat roof that was cut out by hand, 10 x 10 m; only who gave it knows that it is none of a floor."""
    scene = run(cloud(level(10.0)))
    assert scene.roofs[0].area_m2 == pytest.approx(100, rel=0.05)
    assert {"may_be_ground", "no_ground"} == {notice.code for notice in scene.notices}
