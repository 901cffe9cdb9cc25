"""Edges under a beam wider than a point.  Oracle: the Gaussian beam of theory over a known straight edge."""

import numpy as np
import pytest
import shapely
from scipy.stats import norm

from slopewright.edges.beam import fit_edge
from slopewright.edges.boundary import fit_step
from slopewright.edges.strip import Strip, strip_along

EAST = np.array([1.0, 0.0])
TRUE_M, LENGTH_M, DEPTH_M, DRAWS = 0.07, 9.0, 3.0, 30


def strip_under_a_beam(
    rng: np.random.Generator, density: float, beam_m: float, roof_share: float, ground_share: float
) -> Strip:
    """Roof returns of Poisson pulses; each side returns if at least so much of the beam's energy is on it.

    A beam of 1/e² diameter d has d / 4 as standard deviation of its energy across the edge.
    """
    n = rng.poisson(density * (DEPTH_M + 1) * (LENGTH_M + 1))
    xy = rng.uniform([-DEPTH_M, -(LENGTH_M + 1) / 2], [1.0, (LENGTH_M + 1) / 2], (n, 2))
    on_roof = norm.cdf((TRUE_M - xy[:, 0]) / (beam_m / 4))
    seen = on_roof >= roof_share
    straddles = (1 - on_roof >= ground_share)[seen]
    face = shapely.box(-DEPTH_M, -LENGTH_M / 2, 0.0, LENGTH_M / 2)
    span = (-LENGTH_M / 2, LENGTH_M / 2)
    return strip_along(xy[seen], straddles, face, (EAST, 0.0), span, density=density, spacing_m=density**-0.5)


@pytest.mark.parametrize("density", [8.0, 25.0])
@pytest.mark.parametrize(("beam_m", "share"), [(0.4, 0.15), (0.4, 0.3), (0.25, 0.15), (0.15, 0.5)])
def test_pulses_of_two_returns_take_the_beam_back(density, beam_m, share):
    """One threshold for both sides: no bias but that of taking a sharp edge for an unsharp one, 2 cm at most.

    All returns alone end d / 4 Phi^-1(1 - share) outside: up to 10 cm.
    """
    rng = np.random.default_rng(4)
    error, outer, u = [], [], []
    for _ in range(DRAWS):
        strips = [strip_under_a_beam(rng, density, beam_m, share, share)]
        fit, alone = fit_edge(strips, smear_prior_m=0.04), fit_step(strips, smear_prior_m=0.04)
        assert fit is not None and alone is not None
        error.append(fit.offset_m - TRUE_M)
        outer.append(alone.offset_m - TRUE_M)
        u.append(np.sqrt(fit.covariance[0, 0]))
    grown = beam_m / 4 * norm.ppf(1 - share)
    assert abs(np.mean(error)) < 0.02
    assert np.mean(outer) - np.mean(error) == pytest.approx(grown, abs=0.008)
    assert np.mean(np.abs(error) < 1.96 * np.array(u)) > 0.83  # 30 draws: 0.95 within 3 standard deviations


def test_a_dark_roof_beside_bright_ground_is_off_by_half_the_difference():
    """Theory: roof returns end z(p) outside, single ones z(q) inside; the middle is (z(p) - z(q)) / 2 out."""
    rng = np.random.default_rng(5)
    found = []
    for _ in range(DRAWS):
        fit = fit_edge([strip_under_a_beam(rng, 60.0, 0.4, 0.4, 0.2)], smear_prior_m=0.02)
        assert fit is not None
        found.append(fit.offset_m - TRUE_M)
    expected = 0.1 * (norm.ppf(0.6) - norm.ppf(0.8)) / 2
    assert np.mean(found) == pytest.approx(expected, abs=0.01)


def test_without_straddling_pulses_the_edge_is_the_step():
    strips = [strip_under_a_beam(np.random.default_rng(6), 25.0, 1e-6, 0.5, 0.6)]
    fit, alone = fit_edge(strips, smear_prior_m=0.04), fit_step(strips, smear_prior_m=0.04)
    assert fit is not None and alone is not None
    assert fit.offset_m == alone.offset_m and (fit.covariance == alone.covariance).all()
