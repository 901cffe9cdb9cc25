"""Ten sums of point sets.  Oracles: definitions, evaluated with numpy on the points themselves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from slopewright.geometry.moments import (
    QUANTUM_M,
    cell_keys,
    cell_moments,
    mean_and_covariance,
    point_moments,
    shifted,
    sum_by_label,
)

seeds = st.integers(0, 2**32 - 1)


def cloud(seed: int, n: int = 300) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.rint(rng.uniform(-8, 8, (n, 3)) / QUANTUM_M) * QUANTUM_M


@given(seed=seeds)
def test_mean_and_covariance_are_those_of_the_points(seed):
    """Oracle: numpy's mean and cov, divisor n."""
    points = cloud(seed)
    mean, covariance = mean_and_covariance(point_moments(points).sum(axis=0)[None])

    np.testing.assert_allclose(mean[0], points.mean(axis=0), atol=1e-12)
    np.testing.assert_allclose(covariance[0], np.cov(points.T, bias=True), atol=1e-12)


@given(seed=seeds, n_labels=st.integers(1, 9))
def test_labelled_sums_are_sums_over_the_members(seed, n_labels):
    points = cloud(seed)
    labels = np.random.default_rng(seed).integers(-1, n_labels, len(points))
    sums = sum_by_label(point_moments(points), labels, n_labels)

    for k in range(n_labels):
        np.testing.assert_allclose(sums[k], point_moments(points[labels == k]).sum(axis=0), atol=1e-9)


@given(seed=seeds)
def test_shifted_moments_are_those_of_shifted_points(seed):
    points = cloud(seed)
    shift = np.random.default_rng(seed).uniform(-50, 50, 3)
    moved = shifted(point_moments(points).sum(axis=0)[None], shift)

    np.testing.assert_allclose(moved[0], point_moments(points + shift).sum(axis=0), rtol=1e-12, atol=1e-8)


@given(seed=seeds)
def test_cells_hold_the_moments_of_their_points_for_any_order(seed):
    """Oracles: the points of each cell; and equality to the last bit after a shuffle."""
    points = cloud(seed)
    keys, _ = cell_keys(points, 2.0)
    cells, moments, of_point = cell_moments(points, keys)

    np.testing.assert_array_equal(cells[of_point], keys)
    for k in range(0, len(cells), 7):
        expected = point_moments(points[of_point == k]).sum(axis=0)
        np.testing.assert_allclose(moments[k], expected, rtol=1e-12, atol=1e-9)
    order = np.random.default_rng(seed).permutation(len(points))
    again = cell_moments(points[order], cell_keys(points[order], 2.0)[0])
    assert again[1].tobytes() == moments.tobytes()
    np.testing.assert_array_equal(again[2], of_point[order])


def test_keys_of_touching_cubes_differ_by_the_strides():
    """Oracle: definition; cubes of 1 m, one point in each of 5 x 4 x 3."""
    at = np.stack(np.meshgrid(*(np.arange(n) + 0.5 for n in (5, 4, 3)), indexing="ij"), axis=-1)
    keys, strides = cell_keys(at.reshape(-1, 3), 1.0)
    keys = keys.reshape(5, 4, 3)
    for axis, stride in enumerate(strides):
        assert (np.diff(keys, axis=axis) == stride).all()
    outside = keys[-1] + strides[0]  # a step out of the grid meets no cube of the other side
    assert not np.isin(outside, keys).any()


def test_a_plane_far_from_the_origin_keeps_its_thickness_when_centred():
    """Oracle: 1 mm of noise 60 m from the centre: squares of 3600 m² must not swallow 1e-6 m²."""
    rng = np.random.default_rng(3)
    points = np.column_stack([rng.uniform(60, 61, (5000, 2)), rng.normal(60, 1e-3, 5000)])
    _, covariance = mean_and_covariance(point_moments(points).sum(axis=0)[None])
    assert np.sqrt(covariance[0, 2, 2]) == pytest.approx(points[:, 2].std(), rel=1e-4)
