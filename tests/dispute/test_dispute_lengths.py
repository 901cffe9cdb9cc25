"""Lengths as people write them, and how sure a tape is.

Oracles: the international foot (0.3048 m) and the US survey foot (1200/3937 m), NIST SP 811; tolerances of
metal tapes, NIST Handbook 44 sec. 5.52; a rectangular distribution of
half-width a has a/sqrt(3), JCGM 100 4.3.7.
"""

import math

import pytest

from slopewright.dispute.handling import HANDLING, handling_of, taped_u_m, tolerance_m
from slopewright.dispute.lengths import parse_length
from slopewright.errors import InputError

FT, IN = 0.3048, 0.0254


@pytest.mark.parametrize(
    ("text", "unit", "metres", "step"),
    [
        ("12' 6\"", "", 12.5 * FT, IN),
        ("12' 6 1/2\"", "ft-in", 12 * FT + 6.5 * IN, IN / 2),
        ("12'-6½\"", "", 12 * FT + 6.5 * IN, IN / 2),
        ("12′ 6″", "", 12.5 * FT, IN),
        ("12 ft 6 in", "ft", 12.5 * FT, IN),
        ("12 FT. 6.25 IN.", "", 12 * FT + 6.25 * IN, IN / 100),
        ("40'", "", 40 * FT, FT),
        ('7 1/2"', "", 7.5 * IN, IN / 2),
        ("0' 6\"", "", 6 * IN, IN),
        ("150", "in", 150 * IN, IN),
        ("12.60", "decimal-ft", 12.6 * FT, FT / 100),
        ("12.6", "decimal-ft", 12.6 * FT, FT / 10),
        ("12.75", "ft", 12.75 * FT, FT / 100),
        ("39.37", "us-ft", 12.0, 0.01 * 1200 / 3937),
        ("3.81", "m", 3.81, 0.01),
        ("3,81", "m", 3.81, 0.01),
        ("3.81 m", "", 3.81, 0.01),
        ("381", "cm", 3.81, 0.01),
        ("3810 mm", "mm", 3.81, 0.001),
    ],
)
def test_a_length_is_read_as_it_is_written(text, unit, metres, step):
    """Oracle: definitions of the units; the step is what the last figure stands for."""
    found = parse_length(text, unit, where="t line 2")
    assert found.length_m == pytest.approx(metres, abs=1e-12)
    assert found.step_m == pytest.approx(step)


@pytest.mark.parametrize("text", ["12.6", "12,6", "12.11", "12.06", "12.1"])
@pytest.mark.parametrize("unit", ["ft", "ft-in"])
def test_what_may_be_feet_and_inches_or_decimal_feet_is_refused(text, unit):
    """12.6 is 12 ft 6 in to some, and 12 ft 7.2 in to others."""
    with pytest.raises(InputError, match=r"tape\.csv line 4: .*can be .*feet or 12 feet.*decimal-ft"):
        parse_length(text, unit, where="tape.csv line 4")


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("12.6", "", "has no unit"),
        ("3.81", "furlong", "unit 'furlong'"),
        ("3.81 m", "ft", "need one unit"),
        ("12' 13\"", "", "below 12"),
        ("12.5' 6\"", "", "part of a foot and inches"),
        ("1,250", "m", "thousands or decimals"),
        ("12-6", "ft-in", "need a length like"),
        ("12' 6/0\"", "", "need a length like"),
        ("0", "m", "above 0"),
        ("-3", "m", "need a number in m"),
        ("nan", "m", "need a number in m"),
        ("twelve feet", "", "need a length like"),
        ("400", "m", "at most 300 m"),
        ("14.75", "ft-in", "need feet and inches like"),
        ("", "m", "need a number in m"),
    ],
)
def test_what_is_no_length_is_refused_with_line_and_way_out(text, unit, message):
    with pytest.raises(InputError, match=r"^tape\.csv line 4: ") as error:
        parse_length(text, unit, where="tape.csv line 4")
    assert message in str(error.value)


@pytest.mark.parametrize(
    ("feet", "inches"),
    [
        (1, 1 / 32),
        (6, 1 / 32),
        (6.01, 1 / 16),
        (30, 1 / 16),
        (55, 1 / 8),
        (80, 3 / 16),
        (81, 1 / 4),
        (100, 1 / 4),
    ],
)
def test_tolerance_of_a_metal_tape(feet, inches):
    """Oracle: NIST Handbook 44, sec. 5.52."""
    assert tolerance_m(feet * FT) == pytest.approx(inches * IN)


def test_uncertainty_of_a_steel_tape_is_the_root_of_the_sum_of_squares():
    """Oracle: JCGM 100, 5.1.2 and 4.3.7, written out by hand for 40 ft read to the half inch."""
    way = HANDLING["steel tape"]
    parts = [IN / 8 / math.sqrt(3), IN / 2 / math.sqrt(12), way.end_m, way.end_m, way.share * 40 * FT]
    assert taped_u_m(40 * FT, IN / 2, "steel tape") == pytest.approx(math.sqrt(sum(p * p for p in parts)))


def test_a_wheel_is_worse_than_a_tape_and_a_tape_worse_than_a_steel_tape():
    wheel, tape, steel = (taped_u_m(15.0, 0.01, how) for how in ("wheel", "tape", "steel tape"))
    assert wheel > tape > steel


def test_an_unknown_way_of_taping_is_refused_with_those_known():
    with pytest.raises(
        InputError, match=r"t line 3: how 'by eye', need one of steel tape, .*, or a number under u"
    ):
        handling_of("by eye", where="t line 3")
