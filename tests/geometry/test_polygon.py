"""Kernels of flat polygons against definitions, closed forms and the laws they must keep."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from shapely.geometry import Polygon

from slopewright.errors import DegenerateGeometryError, InputError
from slopewright.geometry.polygon import (
    azimuth_rad,
    edge_lengths,
    newell_normal,
    perimeter,
    pitch_rad,
    plan_area,
    plane_from_polygon,
    polygon_area,
)

seeds = st.integers(0, 2**32 - 1)
angles = st.floats(-math.pi, math.pi)
map_shifts = st.tuples(st.floats(-1e6, 1e6), st.floats(-1e7, 1e7), st.floats(-1e3, 1e3))


def star_in_plan(seed: int) -> np.ndarray:
    """A star-shaped ring, often not convex, counter-clockwise, 1 to 20 m across, at level zero."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(4, 12))  # corners less than half a turn apart: the centre is inside
    turn = (np.arange(n) + rng.uniform(0.1, 0.9, n)) * math.tau / n
    reach_m = rng.uniform(0.5, 10.0, n)
    return np.column_stack([reach_m * np.cos(turn), reach_m * np.sin(turn), np.zeros(n)])


def roof_face(seed: int) -> np.ndarray:
    """A star-shaped ring on a slope of 0.6 to 74 degrees."""
    ring = star_in_plan(seed)
    rng = np.random.default_rng(seed + 1)
    rise, towards = rng.uniform(0.01, 3.5), rng.uniform(0, math.tau)
    ring[:, 2] = rise * (ring[:, 0] * math.cos(towards) + ring[:, 1] * math.sin(towards))
    return ring


def angle_between(a: float, b: float) -> float:
    """Smallest turn from one direction to another [rad]."""
    return abs(math.remainder(a - b, math.tau))


@given(seed=seeds)
def test_level_area_is_that_of_plane_geometry(seed):
    """Oracle: shapely's area of the same ring in plan, another implementation."""
    ring = star_in_plan(seed)
    expected_m2 = Polygon(ring[:, :2]).area
    assert polygon_area(ring) == pytest.approx(expected_m2, rel=1e-12)
    assert plan_area(ring) == plan_area(ring[:, :2]) == pytest.approx(expected_m2, rel=1e-12)
    np.testing.assert_allclose(newell_normal(ring), [0, 0, expected_m2], rtol=1e-12)


@given(seed=seeds)
def test_plan_area_is_the_area_times_the_cosine_of_pitch(seed):
    """Oracle: the area of an orthogonal projection."""
    ring = roof_face(seed)
    pitch = pitch_rad(newell_normal(ring))
    assert plan_area(ring) == pytest.approx(polygon_area(ring) * math.cos(pitch), rel=1e-9)


@given(seed=seeds, euler=st.tuples(angles, angles, angles), shift=map_shifts)
def test_area_vector_turns_with_the_ring_and_ignores_where_it_stands(seed, euler, shift):
    """Law: a rigid motion turns the area vector; a shift to map coordinates changes it by rounding only."""
    ring = roof_face(seed)
    turn = Rotation.from_euler("zyx", euler).as_matrix()
    moved = ring @ turn.T + shift
    np.testing.assert_allclose(newell_normal(moved), turn @ newell_normal(ring), atol=1e-6)
    assert polygon_area(moved) == pytest.approx(polygon_area(ring), abs=1e-6)
    np.testing.assert_allclose(edge_lengths(moved), edge_lengths(ring), atol=1e-8)


@given(seed=seeds, start=st.integers(0, 20))
def test_ring_may_start_anywhere_run_either_way_and_be_closed(seed, start):
    """Law: the same polygon, however its ring is written."""
    ring = roof_face(seed)
    area_vector, (normal, offset) = newell_normal(ring), plane_from_polygon(ring)
    rolled = np.roll(ring, start, axis=0)
    for same in (rolled, np.concatenate([rolled, rolled[:1]])):
        np.testing.assert_allclose(newell_normal(same), area_vector, rtol=1e-9, atol=1e-9)
        assert len(edge_lengths(same)) == len(ring)
        assert perimeter(same) == pytest.approx(perimeter(ring), rel=1e-12)
    backwards = rolled[::-1]
    np.testing.assert_allclose(newell_normal(backwards), -area_vector, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(plane_from_polygon(backwards)[0], normal, atol=1e-9)
    assert plane_from_polygon(backwards)[1] == pytest.approx(offset, abs=1e-9)
    assert polygon_area(backwards) == pytest.approx(polygon_area(ring), rel=1e-12)


@given(seed=seeds, factor=st.floats(1e-3, 1e3))
def test_scale_enters_areas_squared_and_angles_not_at_all(seed, factor):
    """Law: similarity."""
    ring = roof_face(seed)
    assert polygon_area(factor * ring) == pytest.approx(factor**2 * polygon_area(ring), rel=1e-9)
    assert plan_area(factor * ring) == pytest.approx(factor**2 * plan_area(ring), rel=1e-9)
    assert perimeter(factor * ring) == pytest.approx(factor * perimeter(ring), rel=1e-12)
    before, after = newell_normal(ring), newell_normal(factor * ring)
    assert pitch_rad(after) == pytest.approx(pitch_rad(before), abs=1e-9)
    assert angle_between(azimuth_rad(after), azimuth_rad(before)) < 1e-9


@given(seed=seeds)
def test_mirror_in_the_meridian_keeps_pitch_and_reverses_azimuth(seed):
    """Law: x to -x takes azimuth to its negative, so a slope to the east falls to the west."""
    ring = roof_face(seed)
    mirrored = ring * [-1, 1, 1]
    assert polygon_area(mirrored) == pytest.approx(polygon_area(ring), rel=1e-12)
    assert pitch_rad(newell_normal(mirrored)) == pytest.approx(pitch_rad(newell_normal(ring)), abs=1e-12)
    before, after = azimuth_rad(newell_normal(ring)), azimuth_rad(newell_normal(mirrored))
    assert angle_between(after, -before) < 1e-12


@given(seed=seeds, turn=angles)
def test_turning_the_roof_clockwise_turns_its_azimuth_by_as_much(seed, turn):
    """Law: a turn about the vertical; clockwise seen from above is negative about z."""
    ring = roof_face(seed)
    turned = ring @ Rotation.from_euler("z", -turn).as_matrix().T
    before, after = newell_normal(ring), newell_normal(turned)
    assert pitch_rad(after) == pytest.approx(pitch_rad(before), abs=1e-12)
    assert angle_between(azimuth_rad(after), azimuth_rad(before) + turn) < 1e-9


@given(seed=seeds)
def test_areas_of_the_parts_add_up_to_the_whole(seed):
    """Law: area is additive; the star is cut into triangles at its centre."""
    ring = roof_face(seed)
    centre = np.zeros(3)
    parts = [np.array([centre, a, b]) for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True)]
    assert sum(polygon_area(part) for part in parts) == pytest.approx(polygon_area(ring), rel=1e-9)
    assert sum(plan_area(part) for part in parts) == pytest.approx(plan_area(ring), rel=1e-9)


@given(seed=seeds, factor=st.floats(0.05, 0.95), shift=map_shifts, reverse=st.booleans())
def test_hole_takes_its_own_area_off_in_either_turn(seed, factor, shift, reverse):
    """Oracle: a hole that is the ring shrunk by f about the star's centre leaves 1 - f² of the area."""
    ring = roof_face(seed)
    hole = factor * ring
    left_m2 = polygon_area(ring + shift, [(hole[::-1] if reverse else hole) + shift])
    assert left_m2 == pytest.approx((1 - factor**2) * polygon_area(ring), abs=1e-6)
    left_m2 = plan_area(ring + shift, [(hole[::-1] if reverse else hole) + shift])
    assert left_m2 == pytest.approx((1 - factor**2) * plan_area(ring), abs=1e-6)


@pytest.mark.parametrize("rise_in_12", [0.25, 4, 7.5, 12, 24])
@pytest.mark.parametrize(
    ("downhill", "azimuth_deg"),
    [((0, 1), 0), ((1, 1), 45), ((1, 0), 90), ((0, -1), 180), ((-1, 0), 270), ((-1, 1), 315)],
)
def test_pitch_and_azimuth_of_a_rafter_are_those_of_the_carpenter_and_the_compass(
    rise_in_12, downhill, azimuth_deg
):
    """Oracle: definition; x in 12 is atan(x / 12), azimuth is the compass bearing of the fall."""
    towards = np.array([*downhill, 0]) / math.hypot(*downhill)
    along = np.array([-towards[1], towards[0], 0])
    ridge = np.array([3.0, 4.0, 5.0])
    eave = ridge + 12 * towards - [0, 0, rise_in_12]
    ring = np.array([ridge, eave, eave + 7 * along, ridge + 7 * along])
    for normal in (newell_normal(ring), plane_from_polygon(ring)[0], -newell_normal(ring)):
        assert pitch_rad(normal) == pytest.approx(math.atan2(rise_in_12, 12), abs=1e-12)
        assert angle_between(azimuth_rad(normal), math.radians(azimuth_deg)) < 1e-12
        assert 0 <= azimuth_rad(normal) < math.tau
    assert polygon_area(ring) == pytest.approx(7 * math.hypot(12, rise_in_12), rel=1e-12)
    assert plan_area(ring) == pytest.approx(84, rel=1e-12)
    assert perimeter(ring) == pytest.approx(14 + 2 * math.hypot(12, rise_in_12), rel=1e-12)


def test_azimuth_stays_below_a_full_turn_a_hair_west_of_north():
    """Range: a remainder of -1e-17 must not come out as 2 pi."""
    assert azimuth_rad([-1e-17, 1.0, 1.0]) == 0.0


def test_level_roof_has_no_azimuth_and_no_pitch():
    """Definition; also where map coordinates tilt it by their rounding."""
    ring = star_in_plan(3) + np.array([0, 0, 6.0])
    assert pitch_rad(newell_normal(ring)) == 0
    assert math.isnan(azimuth_rad(newell_normal(ring)))
    assert math.isnan(azimuth_rad([1e-10, -1e-10, 1.0]))


def test_wall_has_a_right_angle_of_pitch_and_faces_where_its_ring_says():
    """Definition: pi/2; a ring that runs counter-clockwise seen from the south faces south."""
    wall = np.array([[0, 0, 0], [5, 0, 0], [5, 0, 3], [0, 0, 3.0]])
    assert pitch_rad(newell_normal(wall)) == pytest.approx(math.pi / 2, abs=1e-12)
    assert plan_area(wall) == 0
    np.testing.assert_allclose(plane_from_polygon(wall)[0], [0, -1, 0], atol=1e-12)
    np.testing.assert_allclose(plane_from_polygon(wall[::-1])[0], [0, 1, 0], atol=1e-12)
    assert azimuth_rad(newell_normal(wall)) == pytest.approx(math.pi, abs=1e-12)


@given(seed=seeds, shift=map_shifts)
def test_plane_goes_through_every_corner_of_a_flat_ring_and_its_holes(seed, shift):
    """Definition of the plane; the normal is the area vector's direction, up."""
    ring = roof_face(seed) + shift
    hole = 0.3 * roof_face(seed) + shift
    normal, offset = plane_from_polygon(ring, [hole])
    assert np.linalg.norm(normal) == pytest.approx(1, abs=1e-12)
    assert normal[2] > 0
    np.testing.assert_allclose(ring @ normal, offset, atol=1e-7)
    np.testing.assert_allclose(hole @ normal, offset, atol=1e-7)


@given(seed=seeds)
def test_plane_of_a_warped_ring_has_the_least_sum_of_squares(seed):
    """Oracle: definition of least squares; no plane a little off it fits the corners better."""
    rng = np.random.default_rng(seed)
    ring = roof_face(seed)
    ring = ring + rng.normal(0, 0.02, ring.shape)
    hole = 0.4 * ring[::-1] + rng.normal(0, 0.02, ring.shape)
    corners = np.concatenate([ring, hole])
    normal, offset = plane_from_polygon(ring, [hole])
    best = np.sum((corners @ normal - offset) ** 2)
    for _ in range(20):
        other = normal + rng.normal(0, 0.01, 3)
        other /= np.linalg.norm(other)
        other_offset = offset + rng.normal(0, 0.01)
        assert np.sum((corners @ other - other_offset) ** 2) >= best - 1e-12


@pytest.mark.parametrize(
    ("ring", "message"),
    [
        ([[0, 0, 0], [1, 0, 0]], "2 corners"),
        ([[0, 0, 0], [1, 0, 0], [0, 0, 0]], "2 corners"),
        ([[0, 0], [1, 0], [1, 1]], r"shape \(3, 2\)"),
        ([[0, 0, 0], [1, 0, 0], [1, math.nan, 0]], "1 coordinates not finite"),
    ],
)
def test_malformed_ring_is_refused_with_what_it_lacks(ring, message):
    for kernel in (newell_normal, polygon_area, plane_from_polygon, perimeter):
        with pytest.raises(InputError, match=message):
            kernel(ring)


def test_ring_on_a_line_has_no_plane():
    line = np.outer(np.arange(5.0), [1, 2, 3]) + np.array([1e6, 1e6, 0])
    with pytest.raises(DegenerateGeometryError, match="line"):
        plane_from_polygon(line)
    assert polygon_area(line) == pytest.approx(0, abs=1e-6)


def test_hole_larger_than_its_ring_is_refused():
    ring = star_in_plan(5)
    with pytest.raises(InputError, match="holes"):
        polygon_area(ring, [2 * ring])
    with pytest.raises(InputError, match="holes"):
        plan_area(ring, [2 * ring])


@pytest.mark.parametrize("normal", [[0, 0, 0], [0, math.inf, 1], [1, 2]])
def test_no_direction_has_no_pitch(normal):
    for kernel in (pitch_rad, azimuth_rad):
        with pytest.raises(InputError, match="normal"):
            kernel(normal)
