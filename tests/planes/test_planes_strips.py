"""Strips set upon each other.  Oracles: offsets that were put in, and invariances."""

import dataclasses

import numpy as np
import pytest
from test_planes_stage import ROOFS, assert_same, points_of

from simulate import airborne
from simulate.handover import roof_points_of
from slopewright.planes import run
from slopewright.planes.strips import joined_strips
from slopewright.scene import RoofPoints


def strips(name: str, seed: int, density: float, sd_m: float) -> tuple[RoofPoints, np.ndarray, np.ndarray]:
    """A scan of three strips that fit, their offsets about the mean of the points, and the moved points."""
    rng = np.random.default_rng(seed)
    looks = [-0.2, 0.0, 0.2]
    sim = airborne(
        ROOFS[name],
        rng,
        density=density,
        noise_m=0.04,
        looks_rad=looks,
        strip_lift_m=0.0,
        strip_shift_m=0.0,
    )
    points = roof_points_of(sim, ROOFS[name])
    assert points.strip is not None
    offset = rng.normal(0, sd_m, (3, 3))[points.strip - points.strip.min()]
    offset -= offset.mean(axis=0)
    return points, offset, points.xyz + offset


def with_strips(xyz: np.ndarray, strip: np.ndarray) -> RoofPoints:
    return dataclasses.replace(points_of(xyz), strip=strip)


@pytest.mark.parametrize(("density", "height_m", "plan_m"), [(8.0, 0.015, 0.04), (25.0, 0.01, 0.025)])
def test_offsets_of_strips_are_found(density, height_m, plan_m):
    """Oracle: the offsets put in, root mean square over six scans of a hip: all of them can be seen."""
    off = []
    for seed in range(6):
        points, offset, xyz = strips("hip", seed, density, 0.06)
        off.append((xyz - joined_strips(xyz, points.strip) - offset)[::7])
    error = np.sqrt(np.mean(np.concatenate(off) ** 2, axis=0))
    assert error[2] < height_m
    assert (error[:2] < plan_m).all()


def test_faces_scatter_as_if_strips_fitted():
    """Oracle: the same scan without offsets; shifts along a gable's ridge stay unknown."""
    points, _, xyz = strips("gable", 3, 12.0, 0.08)
    fitting, moved = run(points), run(with_strips(xyz, points.strip))
    assert moved.noise_m < 1.1 * fitting.noise_m
    assert run(points_of(xyz)).noise_m > 1.3 * fitting.noise_m


@pytest.mark.parametrize("density", [4.0, 8.0, 25.0])
def test_the_order_of_points_of_several_strips_changes_nothing(density):
    """Oracle: invariance, to the last bit."""
    points, _, xyz = strips("hip", 1, density, 0.05)
    order = np.random.default_rng(2).permutation(len(xyz))
    first = run(with_strips(xyz, points.strip))
    second = run(with_strips(xyz[order], points.strip[order]))
    assert_same(first, second)
    np.testing.assert_array_equal(first.labels[order], second.labels)


def test_one_strip_stays_where_it_is():
    _, _, xyz = strips("hip", 1, 8.0, 0.0)
    np.testing.assert_array_equal(joined_strips(xyz, np.full(len(xyz), 7)), xyz)


def test_strips_that_do_not_overlap_are_not_moved():
    """Oracle: nothing tells how they lie to each other."""
    _, _, xyz = strips("shed", 1, 8.0, 0.0)
    side = (xyz[:, 0] > 0).astype(np.uint16)
    lifted = xyz + np.where(side[:, None] > 0, [0.0, 0.0, 0.5], 0.0)
    far = lifted + side[:, None] * np.array([30.0, 0.0, 0.0])
    np.testing.assert_allclose(joined_strips(far, side), far, atol=1e-4)
