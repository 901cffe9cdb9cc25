"""Planes from moments.  Oracles: LAPACK through numpy, definitions, Monte Carlo."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from slopewright.geometry.moments import point_moments
from slopewright.geometry.planefit import fit_plane_weighted, fit_planes, symmetric_eigen

seeds = st.integers(0, 2**32 - 1)


@given(seed=seeds, flatness=st.sampled_from([1.0, 1e-2, 1e-4, 0.0]))
def test_eigenvalues_and_normal_are_those_of_lapack(seed, flatness):
    """Oracle: numpy.linalg.eigh."""
    rng = np.random.default_rng(seed)
    turn = Rotation.random(40, random_state=seed).as_matrix()
    spread = np.column_stack(
        [rng.uniform(0.05, 0.4, 40) * flatness, rng.uniform(0.5, 1, 40), rng.uniform(1.5, 3, 40)]
    )
    matrices = turn @ (spread[:, :, None] * turn.transpose(0, 2, 1))
    values, vectors = symmetric_eigen(matrices)
    expected, axes = np.linalg.eigh(matrices)

    np.testing.assert_allclose(values, expected, atol=1e-12)
    np.testing.assert_allclose(np.abs(np.einsum("mi,mi->m", vectors, axes[:, :, 0])), 1.0, atol=1e-10)


@pytest.mark.parametrize("diagonal", [(0, 0, 1), (1, 1, 1), (0, 0, 0), (0, 1, 1)])
def test_lines_spheres_points_and_discs_give_a_unit_vector_square_to_the_rest(diagonal):
    """Oracle: definition; A v = smallest eigenvalue times v."""
    matrix = np.diag(np.array(diagonal, dtype=float))
    values, vectors = symmetric_eigen(matrix[None])
    np.testing.assert_allclose(matrix @ vectors[0], min(diagonal) * vectors[0], atol=1e-7)
    np.testing.assert_allclose(values[0], sorted(diagonal), atol=1e-7)
    assert np.linalg.norm(vectors[0]) == pytest.approx(1.0)


def roof_face(rng: np.random.Generator, pitch_deg: float, n: int) -> np.ndarray:
    """Points of an exact plane of a pitch, rising along x."""
    xy = rng.uniform([-3, -4], [3, 4], (n, 2))
    return np.column_stack([xy, xy[:, 0] * np.tan(np.radians(pitch_deg))])


def test_four_in_twelve_is_recovered_from_moments():
    """Oracle: atan(4/12) by definition."""
    points = roof_face(np.random.default_rng(0), np.degrees(np.arctan2(4, 12)), 50)
    _, normal, spread = fit_planes(point_moments(points).sum(axis=0)[None])
    assert np.arccos(normal[0, 2]) == pytest.approx(np.arctan2(4, 12), abs=1e-9)
    assert spread[0, 0] == pytest.approx(0.0, abs=1e-12)


@given(seed=seeds)
def test_weight_one_is_the_orthogonal_fit_and_zero_the_regression(seed):
    """Oracles: SVD of the centred points; numpy.linalg.lstsq of height on plan."""
    rng = np.random.default_rng(seed)
    points = roof_face(rng, rng.uniform(0, 60), 80) + rng.normal(0, 0.1, (80, 3))
    sums = point_moments(points).sum(axis=0)
    _, orthogonal, rms_m = fit_plane_weighted(sums, 1.0)
    _, regression, _ = fit_plane_weighted(sums, 0.0)

    axis = np.linalg.svd(points - points.mean(axis=0))[2][2]
    assert abs(orthogonal @ axis) == pytest.approx(1.0, abs=1e-12)
    assert rms_m == pytest.approx(((points - points.mean(axis=0)) @ axis).std(), rel=1e-9)
    slope = np.linalg.lstsq(np.column_stack([points[:, :2], np.ones(80)]), points[:, 2], rcond=None)[0]
    np.testing.assert_allclose(-regression[:2] / regression[2], slope[:2], atol=1e-9)


def test_weighting_by_the_true_ratio_of_errors_takes_out_the_bias_of_steep_faces():
    """Oracle: Monte Carlo, 400 faces of 55 degrees with plan errors 1.4 times those of height.

    Regression is biased low by the plan errors (attenuation), the ratio 1.4 by less than its own error.
    """
    rng = np.random.default_rng(5)
    found = {0.0: [], 1.4: []}
    for _ in range(400):
        points = roof_face(rng, 55.0, 60) + rng.normal(0, 1, (60, 3)) * [0.28, 0.28, 0.2]
        for ratio, pitches in found.items():
            _, normal, _ = fit_plane_weighted(point_moments(points).sum(axis=0), ratio)
            pitches.append(np.degrees(np.arccos(normal[2])))
    error = {ratio: np.std(p) / 20 for ratio, p in found.items()}
    assert np.mean(found[1.4]) == pytest.approx(55.0, abs=3 * error[1.4])
    assert np.mean(found[0.0]) < 55.0 - 6 * error[0.0]
