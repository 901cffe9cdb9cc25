"""Plan lines of planes and where they meet.  Oracles: closed forms and rigid motion."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from slopewright.geometry.planlines import crease_lines, height_coefficients, meet

angles = st.floats(-np.pi, np.pi)
shifts = st.floats(-50.0, 50.0)


def unit(angle_rad: float) -> np.ndarray:
    return np.array([np.cos(angle_rad), np.sin(angle_rad)])


def lines_through(xy: np.ndarray, *angles_rad: float) -> tuple[np.ndarray, np.ndarray]:
    normals = np.array([unit(a) for a in angles_rad])
    return normals, normals @ xy


def test_height_coefficients_of_a_six_in_twelve_slope_rising_north():
    """Oracle: z = 3 + (y - 2) / 2 by definition, normal (0, -1/2, 1) normalised."""
    normal = np.array([0.0, -0.5, 1.0]) / np.hypot(0.5, 1.0)
    a, b, c = height_coefficients(normal, np.array([7.0, 2.0, 3.0]))
    assert (a, b, c) == pytest.approx((0.0, 0.5, 2.0), abs=1e-12)


def test_crease_of_a_gable_is_its_ridge_and_points_to_where_the_first_is_higher():
    """Closed form: z = 2 + x/2 and z = 8 - x/4 are equal on x = 8; east of it the first is higher."""
    normal, offset = crease_lines(np.array([0.5, 0.0, 2.0]), np.array([-0.25, 0.0, 8.0]))
    np.testing.assert_allclose(normal, [1.0, 0.0], atol=1e-15)
    assert offset == pytest.approx(8.0)


@given(
    first=st.tuples(*[st.floats(-2, 2)] * 2, shifts),
    second=st.tuples(*[st.floats(-2, 2)] * 2, shifts),
    station=shifts,
)
def test_both_planes_have_one_height_all_along_their_crease(first, second, station):
    """Definition of a crease; one metre along its normal the first is higher by the gradients' difference."""
    first, second = np.array(first), np.array(second)
    steep = float(np.hypot(*(first - second)[:2]))
    if steep < 0.01:
        return
    normal, offset = crease_lines(first, second)
    on = normal * offset + station * np.array([-normal[1], normal[0]])
    gap = (first - second)[:2] @ on + (first - second)[2]
    up = (first - second)[:2] @ (on + normal) + (first - second)[2]
    assert np.hypot(*normal) == pytest.approx(1.0)
    assert gap == pytest.approx(0.0, abs=1e-8 * (1 + abs(offset)))
    assert up == pytest.approx(steep, abs=1e-8 * (1 + abs(offset)))


def test_parallel_planes_have_no_crease():
    normal, _ = crease_lines(np.array([[0.5, 0.1, 2.0]]), np.array([[0.5, 0.1, 4.0]]))
    assert not normal.any()


@given(x=shifts, y=shifts, first=angles, between=st.floats(0.2, np.pi - 0.2), away=st.tuples(shifts, shifts))
def test_two_lines_meet_in_their_crossing_wherever_one_starts(x, y, first, between, away):
    """Definition: both lines are drawn through one point."""
    xy = np.array([x, y])
    normals, offsets = lines_through(xy, first, first + between)
    np.testing.assert_allclose(meet(normals, offsets, np.ones(2), np.array(away)), xy, atol=1e-6)


def test_three_lines_that_miss_each_other_meet_in_the_least_squares_point():
    """Oracle: numpy.linalg.lstsq of the same three equations."""
    normals, offsets = lines_through(np.array([3.0, -2.0]), 0.1, 1.3, 2.5)
    offsets = offsets + np.array([0.02, -0.05, 0.03])
    expected = np.linalg.lstsq(normals, offsets, rcond=None)[0]
    np.testing.assert_allclose(meet(normals, offsets, np.ones(3), np.zeros(2)), expected, atol=1e-12)


def test_a_line_of_weight_zero_has_no_say():
    normals, offsets = lines_through(np.array([3.0, -2.0]), 0.1, 1.3, 2.5)
    found = meet(normals, offsets + np.array([0.0, 0.0, 1.0]), np.array([1.0, 1.0, 0.0]), np.zeros(2))
    np.testing.assert_allclose(found, [3.0, -2.0], atol=1e-12)


@pytest.mark.parametrize("angles_rad", [(0.7,), (0.7, 0.7), (0.7, 0.7 + np.pi), (0.7, 0.72)])
def test_where_lines_do_not_cross_the_point_stays_along_them(angles_rad):
    """Definition: a point at one line goes to its foot and keeps its station; so at 1 degree."""
    normals, offsets = lines_through(np.array([4.0, 1.0]), *angles_rad)
    start = np.array([4.0, 1.0]) + 2.0 * np.array([-np.sin(0.7), np.cos(0.7)]) + 0.3 * unit(0.7)
    xy = meet(normals, offsets, np.ones(len(normals)), start)
    assert (xy - start) @ [-np.sin(0.7), np.cos(0.7)] == pytest.approx(0.0, abs=0.01)
    np.testing.assert_allclose(normals @ xy, offsets, atol=0.025)  # 2 m times sin(0.02) / 2, and a margin


@pytest.mark.parametrize(("degrees", "crosses"), [(6.0, False), (9.0, True)])
def test_two_lines_count_as_crossing_from_some_seven_degrees(degrees, crosses):
    """The smaller eigenvalue is 1 - cos(angle), of a trace of 2: 0.004 of it at 7.2 degrees."""
    normals, offsets = lines_through(np.zeros(2), 0.0, np.deg2rad(degrees))
    xy = meet(normals, offsets, np.ones(2), np.array([0.0, 5.0]))
    assert (abs(xy[1]) < 1e-9) == crosses


@given(
    turn=angles,
    shift=st.tuples(shifts, shifts),
    lines=st.lists(st.tuples(angles, shifts), min_size=1, max_size=4),
    start=st.tuples(shifts, shifts),
)
def test_the_meeting_point_moves_with_its_lines(turn, shift, lines, start):
    """Rigid motion of lines and start is the same motion of the point, if no eigenvalue is at its limit."""
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    normals = np.array([unit(a) for a, _ in lines])
    offsets = np.array([d for _, d in lines])
    small = np.linalg.eigvalsh(normals.T @ normals)[0] / len(lines)
    if 0.0035 < small < 0.0045:
        return
    xy = meet(normals, offsets, np.ones(len(lines)), np.array(start))
    turned = normals @ rotation.T
    moved = meet(
        turned, offsets + turned @ np.array(shift), np.ones(len(lines)), rotation @ start + np.array(shift)
    )
    np.testing.assert_allclose(moved, rotation @ xy + shift, atol=1e-7)


def test_a_batch_is_each_of_its_members():
    rng = np.random.default_rng(4)
    angle = rng.uniform(0, np.pi, (5, 3))
    normals, offsets = np.stack([np.cos(angle), np.sin(angle)], axis=-1), rng.normal(size=(5, 3))
    together = meet(normals, offsets, np.ones((5, 3)), np.zeros((5, 2)))
    for n in range(5):
        np.testing.assert_allclose(together[n], meet(normals[n], offsets[n], np.ones(3), np.zeros(2)))
