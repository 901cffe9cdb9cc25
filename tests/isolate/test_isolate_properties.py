"""What must not change the roofs: the order of the points, where the origin is, which way is north."""

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from isolate_scenes import around, cloud, kept, overlap, pair, sense

from simulate import move
from slopewright.isolate import IsolateConfig, run
from slopewright.isolate.raster import lay_grid, top_surface

FIRST, SECOND = pair(2.0, along="rakes")
TREES = [((2, 7.5, 4), 3.0, 3)]
SCAN = sense(FIRST, "air", 6.0, 1, around(trees=TREES, neighbours=(SECOND,)), margin_m=10.0)
PLAIN = run(cloud(SCAN.xyz))
COARSE = np.round(
    np.tile(SCAN.xyz, (4, 1)) + np.random.default_rng(2).normal(0, 0.03, (4 * len(SCAN.xyz), 3)), 1
)
ROUNDED = run(cloud(COARSE))  # in steps of 0.1 m, so that many points are equally low


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_the_order_of_the_points_changes_nothing(seed):
    """Exactly: the same points, the same context, the same outline, to the last bit.

    Of points that are one in all coordinates any may be kept.
    """
    order = np.random.default_rng(seed).permutation(len(COARSE))
    shuffled = run(cloud(COARSE[order]))
    assert len(shuffled.roofs) == len(ROUNDED.roofs) and shuffled.chosen == ROUNDED.chosen
    for ours, theirs in zip(shuffled.roofs, ROUNDED.roofs, strict=True):
        np.testing.assert_array_equal(np.unique(ours.xyz, axis=0), np.unique(theirs.xyz, axis=0))
        assert len(ours.xyz) == len(theirs.xyz)
        np.testing.assert_array_equal(ours.footprint, theirs.footprint)
        np.testing.assert_array_equal(ours.context, theirs.context)
        assert ours.ground_z_m == theirs.ground_z_m


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_cell_sums_do_not_know_the_order_of_their_points(seed):
    """Bit for bit, which sums of float64 that are not whole numbers are not."""
    config = IsolateConfig()
    grid = lay_grid(SCAN.xyz, config)
    mixed = SCAN.xyz[np.random.default_rng(seed).permutation(len(SCAN.xyz))]
    one, other = (top_surface(xyz, grid.index(xyz), grid) for xyz in (SCAN.xyz, mixed))
    np.testing.assert_array_equal(one.first, other.first)
    np.testing.assert_array_equal(one.second, other.second)


@settings(max_examples=10, deadline=None)
@given(angle=st.floats(0, 6.28), x=st.floats(-500, 500), y=st.floats(-500, 500), z=st.floats(-100, 1000))
def test_turn_and_shift_keep_both_roofs(angle, x, y, z):
    """The grid turns under the points, so cells at edges may differ; buildings may not."""
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    scene = run(cloud(SCAN.xyz @ turn.T + (x, y, z)))
    assert len(scene.roofs) == 2
    house = move(FIRST, angle, (x, y, z))
    found = max(scene.roofs, key=lambda points: overlap(points, house.footprint))
    assert kept(found, SCAN.label >= 0) > 0.98
    assert overlap(found, house.footprint) > 0.88
    assert found.ground_z_m == pytest.approx(z, abs=0.15)


def test_returns_and_strips_stay_with_their_points():
    """Definition: `indices` are rows of the cloud."""
    n = len(SCAN.xyz)
    counted = {
        "n_returns": (np.arange(n) % 7).astype(np.uint8),
        "return_number": (np.arange(n) % 5).astype(np.uint8),
        "strip": (np.arange(n) % 60_013).astype(np.uint16),
    }
    for roof in run(cloud(SCAN.xyz, **counted)).roofs:
        for name, values in counted.items():
            np.testing.assert_array_equal(getattr(roof, name), values[roof.indices])
    assert all(getattr(PLAIN.roofs[0], name) is None for name in counted)


def test_every_point_twice_gives_the_same_roofs():
    scene = run(cloud(np.vstack([SCAN.xyz, SCAN.xyz])))
    assert len(scene.roofs) == 2
    for ours, theirs in zip(scene.roofs, PLAIN.roofs, strict=True):
        assert ours.area_m2 == pytest.approx(theirs.area_m2, rel=0.05)


def test_two_million_points_take_little_time_and_memory():
    """Budget of the stage: 1.5 s of processor time on the machine it was set on; doubled for slower ones."""
    tracemalloc = pytest.importorskip("tracemalloc")
    rng = np.random.default_rng(2)
    house = sense(FIRST, "drone", 300.0, 3, around(neighbours=(SECOND,)), margin_m=8.0).xyz
    many = np.tile(house, (1 + 2_000_000 // len(house), 1))[:2_000_000] + rng.normal(0, 0.01, (2_000_000, 3))
    big = cloud(many)
    start = time.process_time()
    run(big)
    assert time.process_time() - start < 3.0
    tracemalloc.start()
    try:
        run(big)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak / len(many) < 80  # bytes a point, the roof's own copies (about 20) included
