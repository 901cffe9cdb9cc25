"""Ice barrier and underlayment: bands cut at hips, carried into valleys; laps, turn-ups."""

import math

import numpy as np
import pytest

from slopewright import takeoff
from slopewright.units import FOOT_M, INCH_M
from takeoff.takeoff_roofs import (
    gable,
    has,
    hip,
    inside_corner,
    layer_of,
    lean_to,
    line,
    system_document,
    take,
    with_corners,
)


def without_waste(*items, **changes):
    document = system_document()
    document.update(changes)
    for item in items:
        layer_of(document, item).pop("waste", None)
    return takeoff.system_from_toml(document, file="changed.toml")


def test_the_band_of_a_hip_roof_is_cut_at_its_hips():
    """Oracle: by hand; a frame of 36 in plan width round 50 x 30 ft, times the slope factor of 6 in 12."""
    barrier = line(take(hip(50, 30, 6), ice_barrier=True, overhang_m=12 * INCH_M), "ice barrier")
    frame_ft2 = 50 * 30 - (50 - 6) * (30 - 6)
    assert barrier.net.value == pytest.approx(frame_ft2 * math.sqrt(1.25) / 100, rel=1e-6)


def test_each_course_of_a_hip_roof_is_as_long_as_the_plane_where_it_lies():
    """Oracle: by hand; the second course starts 33 in up the slope, each side shorter by twice its plan."""
    using = without_waste("ice barrier")
    barrier = line(take(hip(50, 30, 6), using=using, ice_barrier=True, overhang_m=12 * INCH_M), "ice barrier")
    in_ft = 2 * 2.75 / math.sqrt(1.25)
    sheet_ft2 = 3 * (2 * (50 + 30) + 2 * (50 + 30 - 2 * in_ft))
    assert barrier.net.value + barrier.waste.value == pytest.approx(sheet_ft2 / 100, rel=1e-6)


def test_the_band_goes_on_into_a_valley():
    """Oracle: by hand; 3 ft wide in plan, beside the valley each side is longer by a triangle of 3 x 3 ft."""
    result = take(inside_corner(20, 12, 10, 6), ice_barrier=True, overhang_m=12 * INCH_M)
    plan_ft2 = 3 * 20 + 4.5 + 3 * 12 + 4.5
    assert line(result, "ice barrier").net.value == pytest.approx(plan_ft2 * math.sqrt(1.25) / 100, rel=1e-6)


def test_a_plane_smaller_than_the_band_is_covered_once():
    """Oracle: by hand; 20 x 2 ft of plane under a band of 3 ft in plan."""
    barrier = line(take(lean_to(20, 2, 6), ice_barrier=True, overhang_m=12 * INCH_M), "ice barrier")
    assert barrier.net.value == pytest.approx(0.4)


@pytest.mark.parametrize("turn_deg", [0, 30, 45, 123])
def test_bands_do_not_turn_with_the_grid(turn_deg):
    """Oracle: rigid motion."""
    straight = hip(50, 30, 9)
    turn, c = math.radians(turn_deg), straight.vertices / FOOT_M
    turned = np.column_stack(
        [
            c[:, 0] * math.cos(turn) - c[:, 1] * math.sin(turn) + 77,
            c[:, 0] * math.sin(turn) + c[:, 1] * math.cos(turn) - 31,
            c[:, 2],
        ]
    )
    roof = with_corners(straight, turned)
    here, there = (line(take(r, ice_barrier=True, overhang_m=0.3), "ice barrier") for r in (straight, roof))
    assert there.net.value == pytest.approx(here.net.value, rel=1e-9)
    assert there.waste.value == pytest.approx(here.waste.value, rel=1e-6)


def test_the_underlayment_leaves_the_eaves_to_the_ice_barrier():
    """Oracle: IRC 2018 R905.1.2, in place of normal underlayment (clause text from memory); areas by hand."""
    roof = gable(50, 15, 6)
    area = 2 * 50 * 15 * math.sqrt(1.25) / 100
    with_it = take(roof, ice_barrier=True, overhang_m=12 * INCH_M)
    felt, barrier = line(with_it, "underlayment, single"), line(with_it, "ice barrier")
    assert felt.net.value == pytest.approx(area - barrier.net.value)
    assert "Less the ice barrier" in felt.rule
    for undecided in ({"ice_barrier": False}, {}, {"ice_barrier": True, "excluded": ("ice barrier",)}):
        assert line(take(roof, **undecided), "underlayment, single").net.value == pytest.approx(area)


def test_one_doubt_of_the_overhang_moves_barrier_and_underlayment_against_each_other():
    """Oracle: what one gains the other gives; an exact roof, so their spreads are equal."""
    result = take(gable(50, 15, 6), ice_barrier=True)
    barrier, felt = line(result, "ice barrier").net, line(result, "underlayment, single").net
    assert felt.u == pytest.approx(barrier.u, rel=1e-9) and barrier.u > 0.1


@pytest.mark.parametrize(
    ("roof", "rise", "past_ft2"),
    [
        (gable(40, 15, 6), 6, 2 * 40 * 0.5),  # 6 in over the ridge from both sides
        (lean_to(40, 15, 6), 6, 40 / 3 + 15 / 3),  # 4 in up the headwall and the sidewall
        (hip(60, 30, 6), 6, 2 * 30 * 0.5 + 2 * 4 * 22.5 * 0.5),  # ridge 30 ft, four hips of 15 x 1.5 ft
    ],
)
def test_underlayment_goes_over_ridges_and_hips_and_up_walls(roof, rise, past_ft2):
    """Oracle: NS, 6 in over hips and ridges, 2 in head laps; up walls 4 in: common practice."""
    felt = line(take(roof, using=without_waste("underlayment, single")), "underlayment, single")
    whole = (felt.net.value + past_ft2 / 100) * 36 / 34
    assert felt.net.value + felt.waste.value == pytest.approx(whole, rel=1e-6)


def test_double_underlayment_starts_with_a_sheet_of_19_inches():
    """Oracle: NS, 19 in starter, 17 in exposure: one plane of 17 in courses, counted sheet by sheet."""
    courses, eave_ft = 6, 40
    roof = lean_to(eave_ft, courses * 17 / 12, 3)
    document = system_document()
    layer = layer_of(document, "underlayment, double")
    del layer["waste"], layer["beyond_in"]["sidewall"], layer["beyond_in"]["headwall"]
    felt = line(take(roof, using=takeoff.system_from_toml(document, file="x.toml")), "underlayment, double")
    sheets_ft2 = eave_ft * (19 + 36 * courses) / 12
    assert felt.net.value + felt.waste.value == pytest.approx(sheets_ft2 / 100, rel=1e-3)


def test_the_edition_that_knows_no_steep_rule_and_the_place_that_uses_none():
    """Oracle: IRC 2024 dropped the 36 in of 8:12; ice_barrier = false is "not used here", and is said."""
    steep = take(gable(50, 15, 9), using=without_waste(edition="IRC 2024"), ice_barrier=True, overhang_m=0.0)
    assert line(steep, "ice barrier").net.value == pytest.approx(2 * 50 * 2 * 1.25 / 100)
    unused = take(gable(50, 15, 9), ice_barrier=False)
    assert not has(unused, "ice barrier")
    assert "ice_barrier_not_used" in [n.code for n in unused.notices]
