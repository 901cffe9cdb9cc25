"""Area by class of pitch and height, and what straddles a limit."""

import math

import pytest

from takeoff.takeoff_roofs import build_roof, gable, line, take


def the_class(roof, **request):
    (found,) = take(roof, **request).classes
    return found


@pytest.mark.parametrize(
    ("rise", "low", "high"),
    [
        (1.99, 0, 2),
        (2, 2, 4),
        (3.99, 2, 4),
        (4, 4, 7),
        (7, 7, 10),
        (9.99, 7, 10),
        (10, 10, 12),
        (12, 10, 12),
        (12.01, 12, 21),
        (21, 12, 21),
        (21.01, 21, math.inf),
    ],
)
def test_pitch_classes_open_at_their_limits(rise, low, high):
    """Oracle: common practice: from 7/12, from 10/12, over 12/12; code: from 2/12, from 4/12, over 21/12."""
    found = the_class(gable(40, 15, rise))
    assert (found.rise_in_12_from, found.rise_in_12_to) == (low, high)
    assert found.area.value == pytest.approx(2 * 40 * 15 * math.hypot(1, rise / 12) * 0.3048**2)


@pytest.mark.parametrize(("eave_ft", "storeys"), [(9, 1), (12.9, 1), (13, 2), (18, 2), (23, 3)])
def test_storeys_follow_the_eave_height_where_it_was_seen(eave_ft, storeys):
    """Oracle: the system's own limits, 13 and 23 ft; the job's word stands behind what was measured."""
    assert the_class(gable(40, 15, 6, eave=eave_ft, ground_ft=0.0), storeys=1).storeys == storeys


@pytest.mark.parametrize("storeys", [None, 2])
def test_storeys_are_the_jobs_where_no_height_was_seen(storeys):
    result = take(gable(40, 15, 6), storeys=storeys)
    assert result.classes[0].storeys == storeys
    assert ("storeys_not_known" in [n.code for n in result.notices]) == (storeys is None)


def test_classes_add_up_to_the_area_in_scope():
    """A saltbox of 6 and 3 in 12."""
    corners = [(0, 0, 9), (40, 0, 9), (40, 10, 14), (0, 10, 14), (40, 30, 9), (0, 30, 9)]
    edges = [("eave", 0, 1, "A"), ("ridge", 2, 3, "AB"), ("eave", 4, 5, "B")]
    roof = build_roof(corners, {"A": [0, 1, 2, 3], "B": [3, 2, 4, 5]}, edges, scale_u=0.01)
    result = take(roof)
    assert [(c.rise_in_12_from, c.rise_in_12_to) for c in result.classes] == [(2, 4), (4, 7)]
    assert sum(c.area.value for c in result.classes) == pytest.approx(roof.area.value)
    assert [c.area.u / c.area.value for c in result.classes] == pytest.approx([0.02, 0.02])
    assert take(roof, planes=("B",)).classes[0].area.value == pytest.approx(roof.planes[1].area.value)


@pytest.mark.parametrize(
    ("rise", "straddles"), [(4.1, True), (3.9, True), (4.3, False), (6, False), (8.1, True)]
)
def test_a_pitch_whose_bound_holds_a_limit_is_said_to_straddle_it(rise, straddles):
    """u 0.1 in 12: the 95 % bound reaches 0.196 on either side."""
    notices = [n for n in take(gable(40, 15, rise, rise_u=0.1)).notices if n.code == "pitch_straddles"]
    assert bool(notices) == straddles
    if straddles:
        assert notices[0].about == ("A", "B") and f"{round(rise)}:12" in notices[0].text


def test_a_line_that_hangs_on_a_straddled_limit_says_so():
    """A pitch of 3.95 in 12 that may be 4: double underlayment by its best value, to be checked."""
    said = "The pitch bound of A, B straddles 4:12, the best value decides: check."
    doubtful = take(gable(40, 15, 3.95, rise_u=0.1))
    assert said in line(doubtful, "underlayment, double").rule
    assert said not in line(doubtful, "field shingles").rule
    assert "straddles" not in line(take(gable(40, 15, 3.95, rise_u=0.01)), "underlayment, double").rule
    assert "A, B straddles 8:12" in line(take(gable(40, 15, 7.9, rise_u=0.1)), "ice barrier").rule
    assert "A, B straddles 21:12" in line(take(gable(40, 15, 20.9, rise_u=0.1)), "nails").rule


def test_an_edge_of_unknown_kind_is_said_to_be_in_no_line():
    corners = [(0, 0, 9), (40, 0, 9), (40, 10, 14), (0, 10, 14)]
    edges = [("eave", 0, 1, "A"), ("unknown", 2, 3, "A")]
    notices = take(build_roof(corners, {"A": [0, 1, 2, 3]}, edges)).notices
    (unknown,) = [n for n in notices if n.code == "unknown_edges"]
    assert unknown.about == ("e2",)
