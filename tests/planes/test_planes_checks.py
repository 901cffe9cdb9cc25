"""What is no roof is refused, and what is doubtful is said.  Oracles: shapes by their definition."""

from contextlib import nullcontext

import numpy as np
import pytest
from test_planes_stage import ROOFS, drone, lidar, points_of

from slopewright.errors import NoRoofError
from slopewright.planes import PlanesConfig, run
from slopewright.planes.atoms import make_atoms
from slopewright.planes.checks import demand_roof
from slopewright.planes.model import planes_of


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


def floor(rng: np.random.Generator, n: int, side_m: float) -> np.ndarray:
    """A level square."""
    return np.column_stack([rng.uniform(0, side_m, (n, 2)), rng.normal(0, 0.02, n)])


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
    ids=[
        "ball",
        "dense ball",
        "vault",
        "leaves",
        "dense leaves",
        "box",
        "line",
        "spot",
        "speck",
        "wall",
    ],
)
def test_what_is_no_roof_is_refused_with_its_reason_and_a_way_out(make, reason):
    with pytest.raises(NoRoofError, match=reason) as caught:
        run(points_of(make(np.random.default_rng(2))))
    assert "\n" not in str(caught.value)
    assert "--at" in str(caught.value)


def test_a_full_crown_beside_the_roof_makes_no_faces():
    """Oracle: definition; a gable and a ball of leaves of 1.2 to 3 m, 8 points/m², twelve clouds."""
    for seed in range(12):
        rng = np.random.default_rng(seed)
        radius = rng.uniform(1.2, 3)
        xy = rng.uniform([-6, -4], [6, 4], (768, 2))
        roof = np.column_stack([xy, -0.5 * np.abs(xy[:, 1])])
        leaves = crown(rng, int(33 * radius**2)) * radius / 3 + [rng.uniform(-6, 6), -4.5, -1.5]
        points = np.vstack([roof, leaves]) + rng.normal(0, 0.05, (len(roof) + len(leaves), 3))
        result = run(points_of(points))
        of_roof = np.arange(len(points)) < len(roof)
        large = [j for j, plane in enumerate(result.planes) if plane.area_m2 > 2]
        assert [np.mean(of_roof[result.labels == j]) > 0.5 for j in large] == [True, True]


@pytest.mark.parametrize(("share", "refused"), [(0.15, True), (0.35, False)])
def test_planes_that_explain_less_than_a_quarter_are_no_roof(share, refused):
    """Oracle: definition; that share of a floor's points in a plane, the rest in none."""
    config = PlanesConfig()
    atoms = make_atoms(floor(np.random.default_rng(1), 2000, 12.0), config)
    labels = np.where(np.arange(2000) < share * 2000, 0, -1).astype(np.int32)
    outcome = pytest.raises(NoRoofError, match="explain 15%") if refused else nullcontext()
    with outcome:
        demand_roof("r1", atoms, labels, planes_of(atoms, labels), 0.02, config)


def test_a_flat_roof_is_a_roof():
    points = floor(np.random.default_rng(6), 1500, 12.0)
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
