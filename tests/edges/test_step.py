"""Where a plane ends.  Oracles: points drawn as a Poisson process that ends at a known line, many times."""

import numpy as np
import pytest
import shapely

from slopewright.edges.boundary import SMEAR_PRIOR_SD, StepFit, fit_step
from slopewright.edges.strip import Strip, interior_density, strip_along

EAST = np.array([1.0, 0.0])
LENGTH_M, DEPTH_M, DRAWS = 8.0, 4.0, 60
TRUE_M = 0.07  # the edge lies this far out from the line that is asked about


def half_plane(
    rng: np.random.Generator, density: float, smear_m: float, *, degrees: float = 0.0
) -> np.ndarray:
    """Poisson points west of an edge that runs north through (TRUE_M, 0), unsharp by a normal deviate."""
    n = rng.poisson(density * (DEPTH_M + 1) * (LENGTH_M + 1))
    xy = rng.uniform([-DEPTH_M, -(LENGTH_M + 1) / 2], [1.0, (LENGTH_M + 1) / 2], (n, 2))
    edge = TRUE_M + np.tan(np.deg2rad(degrees)) * xy[:, 1]
    return xy[xy[:, 0] < edge + smear_m * rng.normal(size=n)]


def strip_of(points: np.ndarray, density: float, length_m: float = LENGTH_M) -> Strip:
    spacing = 1 / np.sqrt(density)
    face = shapely.box(-DEPTH_M, -length_m / 2, 0.0, length_m / 2)
    span = (-length_m / 2, length_m / 2)
    single = np.zeros(len(points), dtype=bool)
    return strip_along(points, single, face, (EAST, 0.0), span, density=density, spacing_m=spacing)


def fits(
    density: float, smear_m: float | None, seed: int, *, degrees: float = 0.0, skip: int = 0
) -> list[StepFit]:
    """Many edges fitted; a smear of None is drawn from the prior for each."""
    rng = np.random.default_rng(seed)
    prior_m = 0.04 if density < 60 else 0.02  # as the stage takes it: lidar, drone
    found = []
    for n in range(skip + DRAWS):
        smear = prior_m * np.exp(SMEAR_PRIOR_SD * rng.normal()) if smear_m is None else smear_m
        points = half_plane(rng, density, smear, degrees=degrees)
        if n >= skip:
            found.append(fit_step([strip_of(points, density)], smear_prior_m=prior_m))
    assert all(fit is not None for fit in found)
    return [fit for fit in found if fit is not None]


def scores(found: list[StepFit]) -> tuple[np.ndarray, np.ndarray]:
    """Errors [m] and stated standard uncertainties [m]."""
    error = np.array([fit.offset_m for fit in found]) - TRUE_M
    return error, np.array([np.sqrt(fit.covariance[0, 0]) for fit in found])


@pytest.mark.parametrize("density", [8.0, 25.0, 60.0])
def test_edges_as_unsharp_as_is_assumed_are_found_without_bias(density):
    """Oracle: with smears drawn from the prior, a posterior's mean has no bias and its variance is right.

    The spread of 60 standard normal scores is 1 within 0.28 at 3 standard deviations; the posterior is not
    quite normal.
    """
    error, u = scores(fits(density, None, seed=17))
    assert abs(error.mean()) < 3 * error.std(ddof=1) / np.sqrt(DRAWS)
    assert 0.6 < (error / u).std() < 1.4


@pytest.mark.parametrize("density", [8.0, 25.0, 100.0])
@pytest.mark.parametrize("smear_m", [0.03, 0.05])
def test_unsharp_edges_are_found_without_bias(density, smear_m):
    """Mean error within 3 standard errors and 2 mm for a smear that is not quite the prior's."""
    found = fits(density, smear_m, seed=7)
    error, u = scores(found)
    assert abs(error.mean()) < 3 * error.std(ddof=1) / np.sqrt(DRAWS) + 0.002
    assert 0.6 < (error / u).std() < 1.3
    assert np.mean([fit.observed for fit in found]) > 0.9


@pytest.mark.parametrize("density", [8.0, 25.0, 100.0])
def test_sharp_edges_are_found_within_what_is_stated(density):
    """A sharp edge is taken for an unsharp one: a little inside, by less than one stated uncertainty.

    Its outermost points alone would lie a spacing's square over the edge's length inside; a hull of them,
    chunk by chunk, half a spacing.
    """
    error, u = scores(fits(density, 0.0, seed=7))
    assert abs(error.mean()) < min(u.mean(), 0.02)
    assert np.sqrt(np.mean((error / u) ** 2)) < 1.5
    assert np.abs(error / u).max() < 4.0


@pytest.mark.parametrize(("density", "smear_m"), [(25.0, 0.005), (60.0, 0.03)])
def test_points_far_inside_speak_against_a_large_smear(density, smear_m):
    """No draw of 60 is off by decimetres: scores of 5 have a chance of 1 in a million."""
    error, u = scores(fits(density, smear_m, seed=21, skip=112))
    assert np.abs(error / u).max() < 5.0
    assert np.abs(error).max() < 0.06


def test_a_turned_edge_is_found():
    """Three degrees are 21 cm from end to end: seen at 25 points/m²; within 3 stated standard deviations."""
    found = fits(25.0, 0.03, seed=3, degrees=3.0)
    turn = np.array([fit.turn_rad for fit in found])
    # outward is east and the stations count north, so an edge further east in the north turns by + 3 degrees
    assert np.rad2deg(np.median(turn)) == pytest.approx(3.0, abs=0.3)
    u = np.array([np.sqrt(fit.covariance[1, 1]) for fit in found])
    assert np.mean(np.abs(turn - np.tan(np.deg2rad(3.0))) < 3 * u) > 0.9
    middle = np.array([fit.offset_m + fit.turn_rad * (0.0 - fit.pivot_m) for fit in found])
    assert abs(middle.mean() - TRUE_M) < 0.01


def test_a_straight_edge_is_not_turned():
    turn = np.array([fit.turn_rad for fit in fits(25.0, 0.03, seed=5)])
    assert np.rad2deg(np.abs(turn)).max() < 1.0


@pytest.mark.parametrize("points", [np.empty((0, 2)), np.array([[-3.9, 0.0], [-3.8, 1.0]])])
def test_an_edge_that_nothing_shows_is_none(points):
    assert fit_step([strip_of(points, 25.0)], smear_prior_m=0.04) is None


def test_an_edge_shorter_than_a_chunk_is_none():
    points = half_plane(np.random.default_rng(1), 25.0, 0.03)
    assert fit_step([strip_of(points, 25.0, length_m=0.5)], smear_prior_m=0.04) is None


def test_half_of_an_edge_under_a_tree_is_half_observed_and_the_rest_places_it():
    """Definition of `observed`: the north half has no points for 2 m inward."""
    points = half_plane(np.random.default_rng(2), 100.0, 0.03)
    points = points[(points[:, 1] < 0) | (points[:, 0] < -2.0)]
    fit = fit_step([strip_of(points, 100.0)], smear_prior_m=0.04)
    assert fit is not None
    assert fit.observed == pytest.approx(0.5, abs=0.1)
    assert fit.offset_m == pytest.approx(TRUE_M, abs=0.02)


def test_two_faces_on_one_edge_place_it_better_than_one():
    """Two independent halves of an edge: the variance halves; mean of 20 draws."""
    rng = np.random.default_rng(9)
    ratio = []
    for _ in range(20):
        one, two = (strip_of(half_plane(rng, 100.0, 0.03), 100.0) for _ in range(2))
        alone, both = fit_step([one], smear_prior_m=0.02), fit_step([one, two], smear_prior_m=0.02)
        assert alone is not None and both is not None
        ratio.append(both.covariance[0, 0] / alone.covariance[0, 0])
    assert np.mean(ratio) == pytest.approx(0.5, abs=0.12)


def test_the_order_of_points_does_not_matter():
    points = half_plane(np.random.default_rng(12), 25.0, 0.03)
    fit = fit_step([strip_of(points, 25.0)], smear_prior_m=0.04)
    again = fit_step([strip_of(points[::-1], 25.0)], smear_prior_m=0.04)
    assert fit is not None and again is not None
    assert fit.offset_m == again.offset_m and (fit.covariance == again.covariance).all()


@pytest.mark.parametrize("density", [8.0, 25.0, 100.0])
def test_the_density_inside_a_face_is_unbiased(density):
    """Oracle: the Poisson process' own density; 60 draws of a 10 x 6 m face, mean within 3 %."""
    rng = np.random.default_rng(11)
    face = shapely.box(0, 0, 10, 6)
    found = []
    for _ in range(DRAWS):
        points = rng.uniform([0, 0], [10, 6], (rng.poisson(density * 60), 2))
        found.append(interior_density(points, face, 1 / np.sqrt(density)))
    assert np.mean(found) == pytest.approx(density, rel=0.03)


def test_a_hole_does_not_lower_the_density():
    """A quarter of the face is empty: a plain mean is 25 % low; cells that the hole cuts cost some."""
    rng = np.random.default_rng(13)
    points = rng.uniform([0, 0], [10, 6], (6000, 2))
    points = points[(points[:, 0] > 5) | (points[:, 1] > 3)]
    assert interior_density(points, shapely.box(0, 0, 10, 6), 0.1) == pytest.approx(100.0, rel=0.1)


def test_a_sliver_has_no_density_of_its_own():
    assert interior_density(np.zeros((5, 2)), shapely.box(0, 0, 4, 0.3), 0.2) is None
