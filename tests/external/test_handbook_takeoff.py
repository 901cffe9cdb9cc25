"""Takeoff rules against worked examples and limits of published sources, through whole roofs built by hand.

Sources: N = US Navy NAVEDTRA 14044, NS = NAVEDTRA 14045 guide specification; A2 = US Army EN5156;
E = *Estimating in Building Construction*, sec. 14-11; IRC = International Residential Code 2018; CMHC =
Canada Mortgage and Housing Corporation text on asphalt shingles.
"""

import math

import numpy as np
import pytest

from slopewright import takeoff
from slopewright.geometry.framing import slope_factor
from slopewright.takeoff.strips import pieces_without_reuse
from slopewright.units import FOOT_M, INCH_M, pitch_from_rise
from takeoff.takeoff_roofs import (
    gable,
    has,
    hip,
    layer_of,
    lean_to,
    line,
    system,
    system_document,
    take,
    valley_pair,
)


def with_changes(item, *, drop=(), **changes):
    """The laminated system with some keys of one layer changed."""
    document = system_document()
    layer = layer_of(document, item)
    layer.update(changes)
    for key in drop:
        del layer[key]
    return takeoff.system_from_toml(document, file="changed.toml")


def gable_of_slope(length_ft, rafter_ft, rise, **more):
    """Two planes of `length_ft` by `rafter_ft` on the slope."""
    return gable(length_ft, rafter_ft / slope_factor(pitch_from_rise(rise)), rise, **more)


def test_two_planes_44_by_16_feet_are_44_bundles_before_waste():
    """Oracle: two planes 44 x 16 ft: 1,408 ft² = 44 bundles of 32 ft² before waste."""
    bare = with_changes("field shingles", drop=["laid"])
    shingles = line(take(gable_of_slope(44, 16, 6), using=bare), "field shingles")
    assert shingles.net.value == pytest.approx(14.08)
    assert (shingles.order.quantity, shingles.order.unit) == (44, "bundle")


def test_1800_square_feet_of_plan_at_9_in_12_with_a_tenth_are_25_squares():
    """Oracle: 1,800 ft² x 1.25 + 10 %: 2,475 ft² = 24.75, ordered 25 squares."""
    tenth = {"low": 0.10, "high": 0.10, "source": "the example"}
    square = {"unit": "square", "holds_ft2": 100, "source": "the example"}
    using = with_changes("field shingles", drop=["laid"], waste=tenth, package=square)
    shingles = line(take(gable(45, 20, 9), using=using), "field shingles")
    assert shingles.net.value == pytest.approx(22.5)
    assert shingles.net.value + shingles.waste.value == pytest.approx(24.75)
    assert shingles.order.quantity == 25


def test_plan_of_1600_square_feet_at_6_in_12_is_17_888_squares():
    """Oracle: 1,788.8 ft²."""
    assert line(take(gable(40, 20, 6)), "field shingles").net.value == pytest.approx(17.888, abs=0.001)


def test_hip_and_gable_of_one_plan_take_the_same_shingles():
    """Oracle: E."""
    as_hip, as_gable = (line(take(roof), "field shingles").net for roof in (hip(50, 30, 7), gable(50, 15, 7)))
    assert as_hip.value == pytest.approx(as_gable.value)


@pytest.mark.parametrize(("name", "pieces"), [("composition-strip", 80.0), ("composition-laminated", 65.0)])
def test_pieces_per_square(name, pieces):
    """Oracle: A2, 14,400 / (width x exposure): 36 x 5 in 80, 39 3/8 x 5 5/8 in 65.0."""
    assert system(name).shingle.pieces_per_square == pytest.approx(pieces, abs=0.05)


@pytest.mark.parametrize(
    ("name", "rise", "per_square"),
    [
        ("composition-strip", 6, 320),
        ("composition-strip", 22, 480),
        ("composition-laminated", 6, 260),
        ("composition-laminated", 22, 390),
    ],
)
def test_nails_per_square(name, rise, per_square):
    """Oracle: IRC R905.2.6, four a piece or six: 320 or 480 nails a square, 260 or 390 of metric."""
    document = system_document(name)
    layer = layer_of(document, "nails")
    layer.update(unit="ea", package={"unit": "box", "holds": 1000, "source": "the test"})
    del layer["nails_per_lb"]
    using = takeoff.system_from_toml(document, file="changed.toml")
    nails = line(take(gable_of_slope(50, 10, rise), using=using), "nails")  # ten squares
    assert nails.net.value == pytest.approx(10 * per_square, abs=10 * 0.2)


@pytest.mark.parametrize(("rise", "nails"), [(20.99, 4), (21, 4), (21.01, 6)])
def test_special_nailing_starts_above_21_in_12(rise, nails):
    """Oracle: IRC R905.2.6, slopes exceeding 21:12; exactly 21:12 is not special."""
    assert f"{nails} nails a piece" in line(take(gable(40, 10, rise)), "nails").rule


@pytest.mark.parametrize("rise", [2, 2.5, 3.99])
def test_underlayment_is_double_from_2_up_to_4_in_12(rise):
    """Oracle: IRC R905.1.1 / R905.2.2."""
    result = take(gable(40, 15, rise))
    assert has(result, "underlayment, double") and not has(result, "underlayment, single")


@pytest.mark.parametrize("rise", [4, 4.01, 8, 12])
def test_underlayment_is_single_from_4_in_12(rise):
    """Oracle: IRC R905.1.1."""
    result = take(gable(40, 15, rise))
    assert has(result, "underlayment, single") and not has(result, "underlayment, double")


@pytest.mark.parametrize("rise", [0.5, 1.99])
def test_shingles_are_not_allowed_below_2_in_12(rise):
    """Oracle: IRC R905.2.2."""
    result = take(gable(40, 15, rise))
    assert not has(result, "field shingles") and not has(result, "nails")
    assert not has(result, "underlayment, double") and not has(result, "underlayment, single")
    assert line(result, "roofing below 2:12").status == "check"
    (notice,) = [n for n in result.notices if n.code == "too_low_for_shingles"]
    assert notice.about == ("A", "B")


def test_shingles_are_allowed_at_exactly_2_in_12():
    """Oracle: IRC R905.2.2, two units vertical in twelve or greater."""
    result = take(gable(40, 15, 2))
    assert has(result, "field shingles") and not has(result, "roofing below 2:12")
    assert not [n for n in result.notices if n.code == "too_low_for_shingles"]


@pytest.mark.parametrize(
    ("rise", "item", "factor", "print_as"),
    [(6, "underlayment, single", 36 / 34, 1.059), (3, "underlayment, double", 36 / 17, 2.118)],
)
def test_felt_is_multiplied_by_width_over_exposure(rise, item, factor, print_as):
    """Oracle: NS, 2 in head laps or 17 in exposure of 36 in felt: 1.059 and 2.118 before end laps."""
    felt = line(take(gable(40, 15, rise), using=with_changes(item, drop=["waste", "beyond_in"])), item)
    assert factor == pytest.approx(print_as, abs=0.0005)
    assert (felt.net.value + felt.waste.value) / felt.net.value == pytest.approx(factor)


@pytest.mark.parametrize(("squares_of_felt", "rolls"), [(4.07, 1), (4.09, 2)])
def test_a_felt_roll_of_432_square_feet_covers_408(squares_of_felt, rolls):
    """Oracle: 36 in x 144 ft = 432 ft² gross, 408 with 2 in laps."""
    using = with_changes("underlayment, single", drop=["waste", "beyond_in"])
    roof = gable_of_slope(50 * squares_of_felt / 10, 10, 6)
    assert line(take(roof, using=using), "underlayment, single").order.quantity == rolls


@pytest.mark.parametrize(
    ("name", "exposure", "pieces"), [("composition-strip", 5, 48), ("composition-laminated", 5.625, 43)]
)
def test_step_flashing_is_one_piece_a_course(name, exposure, pieces):
    """Oracle: 20 ft of slope at 5 in: 48 pieces, at 5 5/8 in: 43."""
    step = line(take(lean_to(12, 20, 6), using=system(name)), "step flashing")
    assert step.net.value == pytest.approx(240 / exposure)
    assert step.order.quantity == pieces


@pytest.mark.parametrize(("run_ft", "pieces"), [(9.99, 1), (10, 1), (10.01, 2), (40, 5)])
def test_drip_edge_pieces_of_a_straight_run(run_ft, pieces):
    """Oracle: ceil((L - lap) / (stock - lap)), lap 2 in (IRC R905.2.8.5): 40 ft take 5, not 4."""
    eaves = line(take(lean_to(run_ft, 12, 6)), "drip edge at eaves")
    assert eaves.net.value == pytest.approx(run_ft)
    assert eaves.order.quantity == pieces
    got = pieces_without_reuse(np.array([run_ft * FOOT_M]), stock_m=10 * FOOT_M, lap_m=2 * INCH_M)
    assert got.tolist() == [pieces]


def test_caps_of_26_strips_run_32_feet_6_inches():
    """Oracle: a strip cut in thirds at 5 in exposure: 26 x 3 x 5 in = 32.5 ft a bundle, 2.4 pieces a foot."""
    package = next(x.package for x in system().layer if x.item == "hip and ridge caps")
    assert package.size == pytest.approx(32.5)
    assert package.pieces / package.size == pytest.approx(2.4)
    using = with_changes("hip and ridge caps", drop=["waste"])
    for ridge_ft, bundles in ((32.5, 1), (32.6, 2)):
        caps = line(take(gable(ridge_ft, 12, 6), using=using), "hip and ridge caps")
        assert caps.order.quantity == bundles


def test_caps_run_along_hips_and_ridge():
    """Oracle: N's hip, run 15 ft at 8/12 = 23.45 ft, four of them and the ridge."""
    caps = line(take(hip(50, 30, 8)), "hip and ridge caps")
    assert caps.net.value == pytest.approx(4 * 23.452 + 20, abs=0.01)


def test_valley_of_a_15_foot_run_at_8_in_12():
    """Oracle: N's hip has the length of the valley of the same run: 23.45 ft."""
    result = take(valley_pair(15, 8))
    assert line(result, "valley metal").net.value == pytest.approx(23.45, abs=0.005)
    assert line(result, "valley underlayment").net.value == pytest.approx(23.45, abs=0.005)


@pytest.mark.parametrize(
    ("rise", "overhang_in", "edition", "width_in", "courses"),
    [
        (6, 12, "IRC 2018", 36 * 1.11803, 2),  # (12 + 24) x slope factor 1.1180
        (4, 0, "IRC 2018", 24 * 1.05409, 1),
        (12, 24, "IRC 2018", 48 * 1.41421, 3),
        (7.99, 0, "IRC 2018", 24 * 1.20133, 1),  # below 8:12 the steep rule is silent
        (8, 0, "IRC 2018", 36, 2),  # from 8:12 at least 36 in along the slope
        (8, 0, "IRC 2015", 36, 2),
        (8, 0, "IRC 2021", 36, 2),
        (8, 0, "IRC 2024", 24 * 1.20185, 1),  # dropped in 2024
        (8, 0, "IRC 2012", 24 * 1.20185, 1),  # not yet there
        (8, 12, "IRC 2018", 36 * 1.20185, 2),  # wider than 36 in anyhow
    ],
)
def test_ice_barrier_by_overhang_slope_and_edition(rise, overhang_in, edition, width_in, courses):
    """Oracle: IRC R905.1.2: 24 in inside the wall line measured level, (overhang + 24 in) x slope factor.

    Courses = ceil(width / (36 in - lap)); editions 2015 to 2021: 36 in along the slope from 8:12.
    """
    document = system_document()
    document["edition"] = edition
    del layer_of(document, "ice barrier")["waste"]
    using = takeoff.system_from_toml(document, file="changed.toml")
    roof = gable(50, 15, rise)
    barrier = line(take(roof, using=using, ice_barrier=True, overhang_m=overhang_in * INCH_M), "ice barrier")
    assert barrier.status == "in_scope"
    assert barrier.net.value == pytest.approx(2 * 50 * width_in / 12 / 100, rel=1e-4)
    assert f"{courses} courses on A, B" in barrier.rule
    assert barrier.net.value + barrier.waste.value == pytest.approx(2 * 50 * courses * 3 / 100)
    assert barrier.order.quantity == math.ceil(
        2 * 50 * courses * 3 / 200
    )  # rolls of 36 in x 66.7 ft = 200 ft²


def test_1500_square_feet_of_attic_ask_for_1440_or_720_square_inches():
    """Oracle: IRC R806.2, 1/150, or 1/300 where balanced."""
    check = line(take(gable(50, 15, 6), counts={"roof_vents": 6}), "ventilation")
    assert "1,500 ft² asks for 1,440 in²" in check.rule and "or 720 in² at 1/300" in check.rule
    assert "counted on site: 6, 300 in²" in check.rule
    assert check.net.value == pytest.approx(1440 / 50)
    assert check.status == "check"


def test_spaced_boards_are_overlaid_with_panels_of_32_square_feet():
    """Oracle: IRC R905.2.1; ceil(area / 32 ft²) and cuts."""
    using = with_changes("deck overlay", drop=["waste"])
    roof = gable_of_slope(44, 16, 6)
    overlay = line(take(roof, using=using, deck="spaced"), "deck overlay")
    assert (overlay.order.quantity, overlay.status) == (44, "code_item")
    assert (
        line(take(gable_of_slope(44.1, 16, 6), using=using, deck="spaced"), "deck overlay").order.quantity
        == 45
    )
    assert not has(take(roof), "deck overlay")


def test_debris_is_175_to_350_pounds_a_square_and_layer():
    """Oracle: published shingle masses; ten squares, two layers: 95 % of 3,500 to 7,000 lb."""
    weight = line(take(gable_of_slope(50, 10, 6), shingle_layers=2), "debris weight")
    assert weight.net.value == pytest.approx(5250)
    assert weight.net.low == pytest.approx(3500 + 0.025 * 3500, abs=2)
    assert weight.net.high == pytest.approx(7000 - 0.025 * 3500, abs=2)


def test_removal_is_the_exact_area_without_waste_by_layer():
    """Oracle: common practice; ten squares, three layers of shingles, two of felt."""
    result = take(gable_of_slope(50, 10, 6), shingle_layers=3, felt_layers=2)
    for item, squares in (
        ("shingles off, first layer", 10),
        ("shingles off, further layers", 20),
        ("felt off", 20),
    ):
        off = line(result, item)
        assert off.net.value == pytest.approx(squares)
        assert (off.waste.value, off.waste.high, off.order) == (0, 0, None)


@pytest.mark.parametrize(("layers", "refused"), [(1, False), (2, True), (3, True)])
def test_no_recover_over_two_or_more_layers(layers, refused):
    """Oracle: IRC R908.3."""
    codes = [n.code for n in take(gable(40, 15, 6), shingle_layers=layers).notices]
    assert ("recover_refused" in codes) == refused


@pytest.mark.parametrize(("rise", "steep"), [(4, False), (4.01, True)])
def test_steep_is_more_than_four_in_twelve(rise, steep):
    """Oracle: 29 CFR 1926.500, steep roof: slope greater than 4 in 12."""
    rule = line(take(gable(40, 15, rise)), "perimeter protection").rule
    assert ("Steep (over 4 in 12): A, B" in rule) == steep
    assert ("No plane is steep" in rule) != steep


@pytest.mark.parametrize(("eave_ft", "bound"), [(5.99, False), (6, True), (9, True)])
def test_fall_protection_binds_from_six_feet(eave_ft, bound):
    """Oracle: 29 CFR 1926.501(b)(11), 6 feet or more above lower levels."""
    result = take(gable(40, 15, 6, eave=eave_ft, ground_ft=0.0))
    assert has(result, "perimeter protection") == bound
