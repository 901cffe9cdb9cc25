"""The comparison of a measured roof with the true one, on roofs whose errors are put in by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulate import KINDS, as_measured, compare_roof, move, random_roof, shapes
from simulate.compare import covered_m
from slopewright.measurement import Measurement
from slopewright.scene import EdgeKind

HOUSE = shapes.cross_gable(length_m=12, span_m=8, pitch_rad=0.5, wing_span_m=6, wing_projection_m=3)
TWO_LEVEL = shapes.two_level(
    length_m=12, span_m=8, pitch_rad=0.5, lower_width_m=6, lower_depth_m=3, lower_pitch_rad=0.3
)


@pytest.mark.parametrize("kind", KINDS)
def test_the_truth_itself_has_no_error(kind):
    truth = random_roof(kind, np.random.default_rng(1))
    result = compare_roof(as_measured(truth), truth)
    assert result.missed == () and result.false == ()
    assert [f.overlap for f in result.faces] == pytest.approx([1.0] * len(truth.planes), abs=1e-6)
    assert max(abs(f.pitch_rad) + abs(f.azimuth_rad) + abs(f.area_m2) for f in result.faces) < 1e-6
    assert result.edge_f1 == pytest.approx(1.0)
    assert result.area_error == pytest.approx(0.0) and result.plan_area_error == pytest.approx(0.0)
    assert all(b.holds and abs(b.score) < 1e-6 for b in result.bounds)


def test_the_origin_of_the_frame_is_added():
    moved = move(HOUSE, 0.0, (500.0, 900.0, 40.0))
    result = compare_roof(as_measured(HOUSE, origin=(500.0, 900.0, 40.0)), moved)
    assert result.missed == () and result.edge_f1 == pytest.approx(1.0)


def test_edges_beyond_half_a_metre_are_not_found():
    measured = as_measured(HOUSE)
    near = compare_roof(as_measured(HOUSE, origin=(0.0, 0.0, 0.45)), HOUSE)
    far = compare_roof(as_measured(HOUSE, origin=(0.0, 0.0, 0.55)), HOUSE)
    # sloping edges keep closer to themselves than they were lifted, level ones do not
    assert near.edge_f1 > 0.95
    assert far.edges[EdgeKind.RIDGE].f1 == 0.0 and far.edges[EdgeKind.EAVE].f1 == 0.0
    assert compare_roof(measured, HOUSE).edges[EdgeKind.RIDGE].f1 == pytest.approx(1.0)


def test_an_edge_of_another_kind_counts_against_both():
    measured = as_measured(HOUSE)
    edges = tuple(replace(e, kind=EdgeKind.HIP) if e.kind == EdgeKind.VALLEY else e for e in measured.edges)
    result = compare_roof(replace(measured, edges=edges), HOUSE)
    valleys, total = HOUSE.length_m(EdgeKind.VALLEY), sum(e.length_m for e in HOUSE.edges)
    assert result.edges[EdgeKind.VALLEY].f1 == 0.0 and result.edges[EdgeKind.HIP].f1 == 0.0
    assert result.edge_f1 == pytest.approx((total - valleys) / total)


def test_half_an_edge_counts_half():
    edge = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0]])
    half = np.array([[4.0, 0.3, 0.0], [9.0, 0.3, 0.0]])
    assert covered_m(edge, [half]) == pytest.approx(5.0)
    assert covered_m(edge, [half[::-1], half]) == pytest.approx(5.0)
    assert covered_m(edge, [half + np.array([0.0, 0.0, 0.5])]) == 0.0
    slanting = np.array([[4.0, -1.0, 0.0], [6.0, 1.0, 0.0]])  # crosses at 45 degrees
    assert covered_m(edge, [slanting]) == 0.0
    crossing = np.array([[0.0, -1.0, 0.0], [10.0, 1.0, 0.0]])  # within 0.5 m over half of its way
    assert covered_m(edge, [crossing]) == pytest.approx(5.0, abs=0.1)


def test_a_missing_face_is_missed_and_one_too_many_is_false():
    measured = as_measured(HOUSE)
    result = compare_roof(replace(measured, planes=measured.planes[1:]), HOUSE)
    assert result.missed == (0,) and result.false == ()
    halves = as_measured(shapes.hip(length_m=12, span_m=8, pitch_rad=0.5))
    result = compare_roof(halves, HOUSE)
    assert set(result.false) | {f.measured for f in result.faces} == {p.id for p in halves.planes}
    assert result.false


def test_bounds_that_miss_the_truth_are_told():
    measured = replace(
        as_measured(HOUSE), area=Measurement.normal(HOUSE.area_m2 * 1.03, HOUSE.area_m2 * 0.01)
    )
    bound = compare_roof(measured, HOUSE).bound("area")
    assert not bound.holds and bound.score == pytest.approx(3.0)
    assert compare_roof(measured, HOUSE).area_error == pytest.approx(0.03)


def test_azimuth_errors_go_the_short_way_round():
    measured = as_measured(HOUSE)
    turned = tuple(
        replace(p, azimuth_deg=Measurement.normal((p.azimuth_deg.value - 1) % 360, 0.1))
        for p in measured.planes
    )
    faces = compare_roof(replace(measured, planes=turned), HOUSE).faces
    assert [f.azimuth_rad for f in faces] == pytest.approx([-math.radians(1)] * len(faces))


def test_hidden_strips_count_if_asked():
    hidden = sum(p.hidden_m2 for p in TWO_LEVEL.planes)
    assert hidden > 1
    result = compare_roof(as_measured(TWO_LEVEL), TWO_LEVEL, with_hidden=True)
    assert result.area_error == pytest.approx(-hidden / (TWO_LEVEL.area_m2 + hidden))
    assert sum(f.area_m2 for f in result.faces) == pytest.approx(-hidden)
