"""What is no roof is refused, and what is doubtful is said.  Oracles: shapes by their definition."""

import numpy as np
import pytest
from test_planes_stage import ROOFS, drone, lidar, points_of

from slopewright.errors import NoRoofError
from slopewright.planes import run


def on_sphere(rng: np.random.Generator, n: int) -> np.ndarray:
    points = rng.normal(size=(n, 3))
    return points / np.linalg.norm(points, axis=1)[:, None]


def sphere(rng: np.random.Generator, n: int, noise_m: float) -> np.ndarray:
    """The upper half of a ball of 4 m."""
    points = 4 * on_sphere(rng, n)
    points[:, 2] = np.abs(points[:, 2])
    return points + rng.normal(0, noise_m, points.shape)


def vault(rng: np.random.Generator, n: int, noise_m: float) -> np.ndarray:
    """A barrel vault of 5 m radius."""
    t = rng.uniform(-1.2, 1.2, n)
    points = np.column_stack([rng.uniform(0, 14, n), 5 * np.sin(t), 5 * np.cos(t)])
    return points + rng.normal(0, noise_m, points.shape)


def crown(rng: np.random.Generator, n: int) -> np.ndarray:
    """Leaves in a ball of 3 m."""
    return 3 * on_sphere(rng, n) * rng.uniform(0.5, 1, (n, 1)) ** (1 / 3)


@pytest.mark.parametrize(
    ("make", "reason"),
    [
        (lambda rng: sphere(rng, 1000, 0.03), "curved"),
        (lambda rng: sphere(rng, 50000, 0.01), "curved"),
        (lambda rng: vault(rng, 4000, 0.04), "curved"),
        (lambda rng: crown(rng, 2000), "scatter"),
        (lambda rng: crown(rng, 30000), "scatter"),
        (lambda rng: rng.uniform(0, 8, (3000, 3)), "scatter"),
        (lambda rng: np.outer(np.arange(100.0), [1, 0.2, 0.1]), "no plane of 2 m²"),
        (lambda rng: np.ones((50, 3)), "no plane of 2 m²"),
        (lambda rng: rng.normal(size=(500, 3)) * 1e-5, "no plane of 2 m²"),
        (lambda rng: rng.uniform([0, 0, 0], [10, 0.01, 3], (500, 3)), "no plane of 2 m²"),
    ],
    ids=["ball", "dense ball", "vault", "leaves", "dense leaves", "box", "line", "spot", "speck", "wall"],
)
def test_what_is_no_roof_is_refused_with_its_reason_and_a_way_out(make, reason):
    with pytest.raises(NoRoofError, match=reason) as caught:
        run(points_of(make(np.random.default_rng(2))))
    assert "\n" not in str(caught.value)
    assert "--at" in str(caught.value)


def test_a_flat_roof_is_a_roof():
    rng = np.random.default_rng(6)
    points = np.column_stack([rng.uniform(0, 12, (1500, 2)), rng.normal(3, 0.03, 1500)])
    (plane,) = run(points_of(points)).planes
    assert plane.normal[2] > 0.9999
    assert plane.area_m2 == pytest.approx(144, rel=0.1)


@pytest.mark.parametrize("capture", [lidar, drone])
@pytest.mark.parametrize("seed", range(4))
def test_a_roof_of_planes_is_not_called_curved(capture, seed):
    points, _ = capture(ROOFS[list(ROOFS)[seed % 3]], seed)
    assert "curved" not in [notice.code for notice in run(points).notices]


@pytest.mark.parametrize("apart_m", [0.0, 0.05, 0.1])
def test_a_roof_that_is_in_the_cloud_twice_is_said_to_be(apart_m):
    """Oracle: half of the points lifted; the gap in the notice is that lift within a quarter."""
    rng = np.random.default_rng(3)
    xy = rng.uniform([-6, -4], [6, 4], (30000, 2))
    z = -0.5 * np.abs(xy[:, 1]) + rng.normal(0, 0.01, len(xy)) + apart_m * (rng.random(len(xy)) < 0.5)
    notices = [n for n in run(points_of(np.column_stack([xy, z]))).notices if n.code == "layers"]
    assert len(notices) == (apart_m > 0)
    if notices:
        stated = float(notices[0].text.split(" cm")[0].split()[-1]) / 100
        assert stated == pytest.approx(apart_m * np.cos(np.arctan(0.5)), rel=0.25)
