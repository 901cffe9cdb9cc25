"""Agreement, conflict and scale of tape readings against a model whose covariance is known."""

import numpy as np
import pytest
from scipy.stats import chi2

from slopewright.checks import AGREE, CANNOT_TELL, CONFLICT
from slopewright.dispute.verdict import judge


def test_normalised_error_of_the_worked_example():
    """Oracle: 10.00 (u 0.05) against 10.12 (u 0.03): E_n = -1.029 by ISO 13528's formula with k = 2."""
    found = judge(np.array([10.0]), np.array([0.05]), np.array([10.12]), np.array([[0.03**2]]))
    assert found.e_n[0] == pytest.approx(-1.029 * 2 / 1.959964, abs=0.001)
    assert found.verdicts == (CANNOT_TELL,)  # beyond 95 % bounds, within those of a false alarm in a hundred


def test_one_reading_is_in_conflict_from_the_99_percent_bound_on():
    """Oracle: the two-sided 99 % point of the normal distribution, 2.576 (NIST TN 1297)."""
    for z, verdict in ((1.95, AGREE), (2.5, CANNOT_TELL), (2.57, CANNOT_TELL), (2.58, CONFLICT)):
        found = judge(np.array([10 + z * 0.05]), np.array([0.03]), np.array([10.0]), np.array([[0.04**2]]))
        assert found.verdicts == (verdict,), z


def test_wide_bounds_cannot_tell():
    found = judge(np.array([10.0]), np.array([0.01]), np.array([10.1]), np.array([[0.2**2]]))
    assert found.verdicts == (CANNOT_TELL,) and "an error of 0.3 m might not show" in found.reasons[0]


def test_a_common_scale_is_told_from_one_wrong_reading():
    lengths = np.array([14.0, 10.0, 8.0, 6.0, 4.0])
    u, spread = np.full(5, 0.01), np.diag(np.full(5, 0.015**2))
    scaled = judge(lengths * 1.01, u, lengths, spread)
    assert scaled.scale_conflict and scaled.scale.value == pytest.approx(0.01)
    wrong = lengths.copy()
    wrong[2] += 0.3
    one = judge(wrong, u, lengths, spread)
    assert not one.scale_conflict and one.verdicts == (AGREE, AGREE, CONFLICT, AGREE, AGREE)
    both = lengths * 1.01
    both[2] -= 0.5
    found = judge(both, u, lengths, spread)
    assert found.scale_conflict and found.verdicts[2] == CONFLICT and found.reasons[2] == ""
    assert found.scale.value == pytest.approx(0.01)


def test_uncertainty_of_the_scale_is_that_of_weighted_least_squares():
    """Oracle: u² = 1 / Σ (L/u)² for independent readings of an exact model (closed form)."""
    lengths, u = np.array([14.0, 10.0, 8.0]), np.array([0.02, 0.01, 0.03])
    found = judge(lengths, u, lengths, np.zeros((3, 3)))
    assert found.scale.u == pytest.approx(np.sum((lengths / u) ** 2) ** -0.5)


def test_false_alarms_of_a_whole_list_are_at_most_one_in_a_hundred():
    """Oracle: Monte Carlo with the covariance that the test is told; 4000 lists, 1 % has s.d. 0.16 %."""
    rng = np.random.default_rng(7)
    lengths = rng.uniform(3, 15, 8)
    spread = 0.002**2 * np.outer(lengths, lengths) + np.diag(rng.uniform(0.01, 0.04, 8) ** 2)
    root, u, alarms = np.linalg.cholesky(spread), np.full(8, 0.012), 0
    for _ in range(4000):
        taped = lengths + root @ rng.standard_normal(8) + u * rng.standard_normal(8)
        found = judge(taped, u, lengths, spread)
        alarms += found.scale_conflict or CONFLICT in found.verdicts
    assert chi2.ppf(1e-4, 1) < alarms <= 4000 * 0.01 + 3 * np.sqrt(4000 * 0.01)
