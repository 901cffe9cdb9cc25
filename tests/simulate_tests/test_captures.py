"""Captures with drawn noise: ranges as the issue of the core states them, points and labels kept together."""

import numpy as np
import pytest

from simulate import random_roof
from simulate.captures import SENSORS, capture, drawn_numbers, drawn_surroundings

ROOF = random_roof("gable", np.random.default_rng(5))


def taken(sensor, seed):
    around = drawn_surroundings(ROOF, np.random.default_rng(seed))
    return capture(SENSORS[sensor], ROOF, around, np.random.default_rng(seed))


@pytest.mark.parametrize("sensor", ["lidar-4", "lidar-25", "drone-200", "terrestrial"])
def test_shuffled_points_keep_their_labels(sensor):
    """Points lie on the face they are labelled with but for noise; the next in the file is far away."""
    cloud, _ = taken(sensor, 3)
    for k, plane in enumerate(ROOF.planes):
        points = cloud.xyz[cloud.label == k]
        assert np.median(np.abs(points @ plane.normal - plane.offset)) < 0.15
    steps = np.linalg.norm(np.diff(cloud.xyz[:, :2], axis=0), axis=1)
    assert np.median(steps) > 3.0
    if cloud.n_returns is not None:
        assert (cloud.return_number <= cloud.n_returns).all()
        assert set(np.unique(cloud.return_number[cloud.n_returns == 1])) == {1}


@pytest.mark.parametrize("seed", range(2))
def test_density_is_that_of_the_class(seed):
    """Ground and roof in plan: pulses per m² as the class says, 2 % of them lost and a few points more."""
    cloud, numbers = taken("lidar-8", seed)
    (x0, y0), (x1, y1) = cloud.xyz[:, :2].min(axis=0), cloud.xyz[:, :2].max(axis=0)
    assert len(cloud.xyz) / ((x1 - x0) * (y1 - y0)) == pytest.approx(8.0, rel=0.08)
    assert 0.03 <= numbers["noise_m"] <= 0.10


def test_noise_that_was_not_told_lies_outside_of_the_ranges():
    told = [drawn_numbers(SENSORS["lidar-4"], np.random.default_rng(seed)) for seed in range(200)]
    strange = [
        drawn_numbers(SENSORS["lidar-4"], np.random.default_rng(seed), strange=True) for seed in range(200)
    ]
    for name, low, high in (("noise_m", 0.03, 0.10), ("correlation_m", 0.5, 3.0), ("beam_m", 0.15, 0.4)):
        assert all(low <= numbers[name] <= high for numbers in told)
        assert any(not low <= numbers[name] <= high for numbers in strange)


def test_a_quarter_of_the_drone_clouds_is_sharp():
    """Oracle: the binomial distribution, 400 draws at 1/4: 100 with a standard deviation of 8.7."""
    draws = [
        drawn_numbers(SENSORS["drone-200"], np.random.default_rng(seed))["bleed_m"] for seed in range(400)
    ]
    assert all(bleed == 0 or 0.02 <= bleed <= 0.07 for bleed in draws)
    assert sum(bleed == 0 for bleed in draws) == pytest.approx(100, abs=30)
