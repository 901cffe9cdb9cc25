"""Edges that rows of points run along.  Oracle: lattices of known spacing at random places, cut by a line."""

import numpy as np
import pytest
import shapely

from slopewright.edges.boundary import StepFit, fit_step
from slopewright.edges.rows import row_gaps
from slopewright.edges.strip import strip_along

EAST = np.array([1.0, 0.0])
TRUE_M, LENGTH_M, DEPTH_M, DRAWS = 0.07, 9.0, 3.0, 40


def lattice(rng: np.random.Generator, row_m: float, point_m: float, degrees: float) -> np.ndarray:
    """Rows at `row_m` that run `degrees` off the edge, a point every `point_m`, at a random place."""
    n = int(2 * LENGTH_M / min(row_m, point_m))
    u, v = np.meshgrid(point_m * np.arange(-n, n), row_m * np.arange(-n, n))
    u = u + rng.uniform(0, point_m, (len(u), 1))
    v = v + rng.uniform(0, row_m)
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    xy = np.column_stack([(c * v - s * u).ravel(), (s * v + c * u).ravel()])
    return xy[(xy[:, 0] > -DEPTH_M) & (xy[:, 0] < TRUE_M) & (np.abs(xy[:, 1]) < LENGTH_M / 2 + 0.5)]


def fitted(points: np.ndarray, density: float) -> StepFit:
    face = shapely.box(-DEPTH_M, -LENGTH_M / 2, 0.0, LENGTH_M / 2)
    span = (-LENGTH_M / 2, LENGTH_M / 2)
    single = np.zeros(len(points), dtype=bool)
    strip = strip_along(points, single, face, (EAST, 0.0), span, density=density, spacing_m=density**-0.5)
    fit = fit_step([strip], smear_prior_m=0.04)
    assert fit is not None
    return fit


@pytest.mark.parametrize("row_m", [0.2, 0.35, 0.5])
def test_an_edge_between_two_rows_is_uncertain_by_their_gap(row_m):
    """Uniform between rows: the variance of the place is row² / 12, and no side is preferred."""
    rng = np.random.default_rng(8)
    fits = [fitted(lattice(rng, row_m, row_m, 0.0), row_m**-2) for _ in range(DRAWS)]
    error = np.array([fit.offset_m for fit in fits]) - TRUE_M
    u = np.array([np.sqrt(fit.covariance[0, 0]) for fit in fits])
    sd = row_m / np.sqrt(12)
    assert abs(error.mean()) < 3 * sd / np.sqrt(DRAWS) + 0.01
    assert np.median(u) == pytest.approx(sd, rel=0.2)
    assert np.mean(np.abs(error) < 1.96 * u) > 0.9


@pytest.mark.parametrize("degrees", [10.0, 27.0, 63.0])
def test_rows_across_an_edge_leave_it_as_sure_as_random_points(degrees):
    """A row every 0.35 m that crosses the edge shows it within centimetres: distances have no gaps."""
    rng = np.random.default_rng(9)
    fits = [fitted(lattice(rng, 0.35, 0.2, degrees), 1 / 0.07) for _ in range(20)]
    assert np.median([np.sqrt(fit.covariance[0, 0]) for fit in fits]) < 0.03
    assert np.abs([fit.offset_m - TRUE_M for fit in fits]).max() < 0.06


def test_random_points_are_no_rows():
    """False alarms at three standard deviations of a skewed statistic: one in fifty at most."""
    rng = np.random.default_rng(10)
    found = [row_gaps(rng.uniform(0, 2, rng.integers(20, 400)), 0.0) for _ in range(400)]
    assert np.mean([gaps is not None for gaps in found]) < 0.05


def test_rows_closer_than_an_edge_is_sharp_do_not_count():
    rows = np.repeat(np.arange(0, 2, 0.05), 30)
    assert row_gaps(rows, 0.02) is not None
    assert row_gaps(rows, 0.10) is None
