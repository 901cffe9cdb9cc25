"""Clouds without a roof are refused with the reason; a flat roof above ground is not among them."""

import numpy as np
import pytest
from isolate_scenes import GABLE, cloud, sense

from slopewright.errors import NoRoofError
from slopewright.isolate import run


def _plan(n=20_000, half_m=15.0, seed=0):
    return np.random.default_rng(seed).uniform(-half_m, half_m, (n, 2))


def _on(xy, z, noise_m=0.02):
    return np.column_stack([xy, z + np.random.default_rng(1).normal(0, noise_m, len(xy))])


def _sphere(radius_m, noise_m=0.0):
    rng = np.random.default_rng(2)
    out = rng.normal(size=(50_000, 3))
    return radius_m * out / np.linalg.norm(out, axis=1)[:, None] + rng.normal(0, noise_m, out.shape)


def _crown(radius_m=3.0):
    inside = np.random.default_rng(3).uniform(-1, 1, (30_000, 3))
    return radius_m * inside[(inside**2).sum(axis=1) < 1] + [0, 0, 5]


XY = _plan()
WIDE = _plan(60_000, 60.0)
LAWN = _on(XY, 0.3 * np.sin(XY[:, 0] / 4) * np.cos(XY[:, 1] / 5), 0.03)
HILLS = _on(WIDE, 6 * np.sin(WIDE[:, 0] / 25) * np.cos(WIDE[:, 1] / 18), 0.05)
STEP = _on(WIDE, np.where(WIDE[:, 0] > 0, 2.6, 0) + 0.05 * WIDE[:, 1], 0.03)
LINE = np.linspace(0, 10, 500)
WALL = np.column_stack([LINE, np.zeros(500), 5 * (np.arange(500) * 0.618 % 1)])
REFUSED = {
    "floor": (_on(XY, 0.0), "level surface with nothing lower around it"),
    "lawn": (LAWN, "level surface with nothing lower around it"),
    "slope of terrain": (_on(XY, 0.2 * XY[:, 0]), "slope of terrain"),
    "hills": (HILLS, "no roof found"),
    "retaining wall": (STEP, "no roof found"),
    "sphere 2 m": (_sphere(2.0), "level|curved"),
    "sphere 5 m": (_sphere(5.0), "curved surface"),
    "sphere 5 m, noisy": (_sphere(5.0, 0.02), "curved surface"),
    "sphere 10 m": (_sphere(10.0), "curved surface"),
    "wall": (WALL, "no flat surface"),
    "tree": (_crown(), "foliage"),
    "tree on a lawn": (np.vstack([_crown(), LAWN]), "level surface"),
    "line": (np.column_stack([LINE, LINE, LINE]), "no flat surface"),
    "one spot": (np.zeros((500, 3)), "no flat surface"),
    "ten points": (_plan(10).repeat(2, axis=1)[:, :3], "10 points, need at least"),
    "no points": (np.zeros((0, 3)), "0 points, need at least"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_no_roof_is_refused_with_its_reason(name):
    xyz, reason = REFUSED[name]
    with pytest.raises(NoRoofError, match=reason) as caught:
        run(cloud(xyz))
    text = str(caught.value)
    assert text.startswith("scan.laz: ")
    assert "need" in text or "--footprint" in text  # the way out
    assert "\n" not in text


def test_a_flat_roof_above_ground_is_a_roof():
    """Definition: a 12 x 12 m slab 3 m above the ground, 144 m²."""
    scene = run(cloud(_on(XY, np.where((np.abs(XY) < 6).all(axis=1), 3.0, 0.0), 0.03)))
    assert len(scene.roofs) == 1
    assert scene.roofs[0].area_m2 == pytest.approx(144, rel=0.08)


def test_a_van_is_too_small_to_be_a_roof():
    """2 x 5 m and 2.4 m high, flat on top."""
    in_van = (np.abs(XY[:, 0]) < 1) & (np.abs(XY[:, 1]) < 2.4)
    with pytest.raises(NoRoofError):
        run(cloud(_on(XY, np.where(in_van, 2.4, 0.0))))


def test_a_house_cut_to_its_walls_is_no_roof():
    scan = sense(GABLE, "drone", 300.0, 1)
    with pytest.raises(NoRoofError):
        run(cloud(scan.xyz[scan.label == -2]))


def test_slopes_that_bow_a_little_are_faces_and_no_dome():
    """Two slopes of 22 x 8 m at 9 in 12 that bow by 30 cm from the middle to their ends: 352 m² of plan."""
    x, y = WIDE.T
    slopes = 5 + 0.75 * (8 - np.abs(y)) + 0.3 * (x / 11) ** 2
    inside = (np.abs(x) < 11) & (np.abs(y) < 8)
    scene = run(cloud(_on(WIDE, np.where(inside, slopes, 0.0), 0.06)))
    assert scene.roofs[0].area_m2 == pytest.approx(352, rel=0.08)
