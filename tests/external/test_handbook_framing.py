"""Framing geometry against worked examples of published handbooks.

Sources: N = US Navy NAVEDTRA 14044 *Builder 3 & 2*, vol. 2; A = US Army Engineer subcourse EN0069A *Frame
Structures*; E = *Estimating in Building Construction*, sec. 14-11.  "Trap": a printed value that is wrong,
which we must not reproduce.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slopewright.errors import InputError
from slopewright.geometry import framing
from slopewright.units import pitch_from_rise, rise_in_12

FACTORS = [  # rise in 12, degrees, slope factor, hip/valley factor: exact, rounded as handbooks do
    (2, 9.46, 1.0138, 1.4240),
    (3, 14.04, 1.0308, 1.4361),
    (4, 18.43, 1.0541, 1.4530),
    (5, 22.62, 1.0833, 1.4743),
    (6, 26.57, 1.1180, 1.5000),
    (7, 30.26, 1.1577, 1.5298),
    (8, 33.69, 1.2019, 1.5635),
    (9, 36.87, 1.2500, 1.6008),
    (10, 39.81, 1.3017, 1.6415),
    (11, 42.51, 1.3566, 1.6853),
    (12, 45.00, 1.4142, 1.7321),
    (13, 47.29, 1.4743, 1.7815),
    (14, 49.40, 1.5366, 1.8333),
    (16, 53.13, 1.6667, 1.9437),
    (18, 56.31, 1.8028, 2.0616),
    (24, 63.43, 2.2361, 2.4495),
]


@pytest.mark.parametrize(("rise", "degrees", "slope", "hip"), FACTORS)
def test_factors_equal_the_handbook_table(rise, degrees, slope, hip):
    """Oracle: the table of slope and hip factors (N, A), to its last printed place."""
    pitch = pitch_from_rise(rise)
    assert math.degrees(pitch) == pytest.approx(degrees, abs=0.0051)
    assert framing.slope_factor(pitch) == pytest.approx(slope, abs=0.000051)
    assert framing.hip_valley_factor(pitch) == pytest.approx(hip, abs=0.000051)


def test_quarter_pitch_is_six_in_twelve():
    """Oracle: N, the old sense of pitch is rise over span; 1/4 pitch is 6 in 12."""
    span = 24.0
    assert rise_in_12(pitch_from_rise(span / 4, span / 2)) == pytest.approx(6.0)


def test_two_in_five_is_four_and_four_fifths_in_twelve():
    """Oracle: A."""
    assert rise_in_12(pitch_from_rise(2, 5)) == pytest.approx(4.8)


def test_rafter_of_a_16_ft_span_at_7_in_12():
    """Oracle: N, 111 1/8 in (to the nearest 1/8 in)."""
    assert 12 * framing.rafter_length(16 / 2, pitch_from_rise(7)) == pytest.approx(111.125, abs=1 / 16)


def test_rafter_of_a_28_ft_wide_building_at_4_in_12():
    """Oracle: A, 14 x 1.0541 = 14.75 ft (14.757, truncated in print)."""
    assert framing.rafter_length(28 / 2, pitch_from_rise(4)) == pytest.approx(14.75, abs=0.01)


def test_rafter_of_a_20_ft_8_in_wide_building_at_13_in_12():
    """Oracle: A, 15 ft 3 in, to a quarter inch."""
    inches = 12 * framing.rafter_length((20 + 8 / 12) / 2, pitch_from_rise(13))
    assert inches == pytest.approx(15 * 12 + 3, abs=0.25)


def test_hip_over_a_15_ft_run_at_8_in_12():
    """Oracle: N, hip run 21.21 ft, rise 10 ft, hip 23.45 ft."""
    pitch = pitch_from_rise(8)
    assert 15 * math.tan(pitch) == pytest.approx(10.0)
    assert 15 * framing.hip_valley_factor(0.0) == pytest.approx(21.21, abs=0.005)
    assert framing.hip_length(15, pitch) == pytest.approx(23.45, abs=0.005)


def test_hip_factor_goes_with_the_common_run_not_the_hips_own():
    """Trap: a trade guide multiplies the hip's own plan length, which overstates by sqrt 2."""
    pitch, run = pitch_from_rise(8), 15.0
    by_pythagoras = math.sqrt(run**2 + run**2 + (run * 8 / 12) ** 2)
    assert framing.hip_length(run, pitch) == pytest.approx(by_pythagoras)
    assert framing.hip_length(run * math.sqrt(2), pitch) == pytest.approx(by_pythagoras * math.sqrt(2))


def test_hip_factor_at_7_in_12_is_not_the_misprint():
    """Trap: printed as 1.524."""
    assert abs(framing.hip_valley_factor(pitch_from_rise(7)) - 1.524) > 0.005


def test_plan_of_1600_square_feet_at_6_in_12():
    """Oracle: 1,788.8 ft² (the book rounds the factor to 1.118)."""
    assert framing.area_on_slope(1600, pitch_from_rise(6)) == pytest.approx(1788.8, abs=0.1)


def test_56_by_29_feet_at_8_in_12_is_not_the_misprint():
    """Trap: printed as 1,965 ft²; 56 x 29 x 1.2019 is 1,951.8."""
    assert framing.area_on_slope(56 * 29, pitch_from_rise(8)) == pytest.approx(1951.8, abs=0.1)


def test_gable_triangle_50_by_12_feet_is_not_the_misprint():
    """Trap: printed as 150 ft²; half of 50 x 12 is 300."""
    assert framing.gable_triangle_area(50, 12) == 300


@given(
    span=st.floats(1, 100),
    more=st.floats(0, 100),
    rise=st.floats(0.5, 24),
)
def test_hip_roof_has_the_area_of_a_gable_roof(span, more, rise):
    """Oracle: E, a regular hip roof has the area of a gable roof of the same span, pitch and length."""
    pitch = pitch_from_rise(rise)
    length = span + more
    gable = 2 * length * framing.rafter_length(span / 2, pitch)
    assert framing.regular_hip_roof_area(length, span, pitch) == pytest.approx(gable)


def test_half_perimeter_times_rafter_is_a_hip_roof_on_a_square_plan_only():
    """Trap: "hip area = perimeter x rafter / 2" holds on a square plan only."""
    pitch = pitch_from_rise(6)
    rafter = framing.rafter_length(12, pitch)
    assert framing.regular_hip_roof_area(24, 24, pitch) == pytest.approx(4 * 24 * rafter / 2)
    assert framing.regular_hip_roof_area(40, 24, pitch) < 0.95 * 2 * (40 + 24) * rafter


@pytest.mark.parametrize(("rise", "percent"), [(6, 0.17), (12, 0.35)])
def test_area_moves_with_pitch_as_the_error_chain_says(rise, percent):
    """Oracle: dA/A = tan(slope) d(slope): 0.2° at 6/12 is 0.17 %, at 12/12 0.35 %."""
    pitch = pitch_from_rise(rise)
    step = math.radians(0.1)
    change = framing.slope_factor(pitch + step) - framing.slope_factor(pitch - step)
    assert 100 * change / framing.slope_factor(pitch) == pytest.approx(percent, abs=0.005)


@pytest.mark.parametrize("pitch", [-0.1, math.pi / 2, math.nan, math.inf])
def test_a_pitch_out_of_range_is_refused(pitch):
    with pytest.raises(InputError, match="pitch_rad: got"):
        framing.slope_factor(pitch)


def test_a_hip_roof_shorter_than_its_span_is_refused():
    with pytest.raises(InputError, match="length: got 10, need at least the span 20"):
        framing.regular_hip_roof_area(10, 20, 0.5)


@pytest.mark.parametrize("run", [-1.0, math.nan, math.inf])
def test_a_run_out_of_range_is_refused(run):
    with pytest.raises(InputError, match="run: got"):
        framing.rafter_length(run, 0.5)
