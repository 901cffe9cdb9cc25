"""Whose a line is, and requests that the roof or the system does not understand."""

import pytest

from slopewright.errors import InputError
from slopewright.roof import RoofObject
from takeoff.takeoff_roofs import build_roof, gable, has, hip, lean_to, line, take


def chimney(width_m: float, kind: str = "chimney", plane: str = "A") -> RoofObject:
    return RoofObject(id="o1", kind=kind, plane=plane, position=(1.0, 1.0, 4.0), size=(0.4, width_m))


@pytest.mark.parametrize(
    ("field", "status"),
    [
        ("retained", "retained"),
        ("by_others", "by_others"),
        ("excluded", "excluded"),
        ("code_items", "code_item"),
    ],
)
def test_the_scope_sets_the_status_of_an_item(field, status):
    """Items match in any case, with blanks around."""
    result = take(gable(40, 15, 6), **{field: (" Drip edge at EAVES ",)})
    assert line(result, "drip edge at eaves").status == status
    assert line(result, "drip edge at rakes").status == "in_scope"


@pytest.mark.parametrize(
    ("field", "ordered"), [("retained", False), ("by_others", False), ("excluded", False)]
)
def test_nothing_is_ordered_for_what_is_not_done(field, ordered):
    result = take(gable(40, 15, 6), **{field: ("starter",)})
    assert (line(result, "starter").order is not None) == ordered
    assert line(result, "starter").net.value == pytest.approx(80 + 4 * 16.77, abs=0.01)
    assert line(take(gable(40, 15, 6), code_items=("starter",)), "starter").order is not None


def test_gutters_are_by_others_and_chimney_flashing_stays_unless_said():
    """Oracle: common practice."""
    result = take(gable(40, 15, 6, objects=(chimney(0.5),)), counts={"chimneys": 1})
    assert line(result, "gutters off and on").status == "by_others"
    assert line(result, "gutters off and on").net.value == pytest.approx(80)
    assert line(result, "chimney flashing").status == "retained"


def test_deck_sheets_are_a_line_of_their_own_even_when_none_is_known():
    sheets = line(take(gable(40, 15, 6)), "deck sheets")
    assert (sheets.phase, sheets.unit, sheets.net.value, sheets.status) == ("repair", "sheet", 0, "check")
    assert "cause" in sheets.rule and sheets.order is None
    counted = line(
        take(gable(40, 15, 6), counts={"deck_sheets": 3}, excluded=("deck sheets",)), "deck sheets"
    )
    assert (counted.net.value, counted.status, counted.origin) == (3, "excluded", ("job.toml [counts]",))


@pytest.mark.parametrize(("said", "status"), [(True, "in_scope"), (None, "check"), (False, None)])
def test_the_ice_barrier_is_done_asked_or_left_out(said, status):
    result = take(gable(40, 15, 6), ice_barrier=said)
    assert has(result, "ice barrier") == (status is not None)
    if status is not None:
        assert line(result, "ice barrier").status == status
    codes = [n.code for n in result.notices]
    assert ("ice_barrier_not_said" in codes) == (said is None)
    assert ("overhang_not_said" in codes) == (said is not False)


def test_the_scope_outranks_what_the_rule_would_ask():
    undecided = take(gable(40, 15, 6), code_items=("ice barrier",), excluded=("pipe boots",))
    assert line(undecided, "ice barrier").status == "code_item"
    assert line(undecided, "pipe boots").status == "excluded"


def test_an_unknown_overhang_widens_the_bound_of_the_ice_barrier():
    known = line(take(gable(40, 15, 6), ice_barrier=True, overhang_m=0.3048), "ice barrier")
    unknown = line(take(gable(40, 15, 6), ice_barrier=True), "ice barrier")
    assert known.net.half_width == pytest.approx(0, abs=1e-9)
    assert unknown.net.value == pytest.approx(known.net.value)  # 12 in is the middle of 0 to 24 in
    band = 80 * 1.118034 * 2 / 100  # 24 in of overhang along two eaves of 40 ft, in squares
    assert 2 * unknown.net.half_width == pytest.approx(0.95 * band, rel=1e-3)
    assert unknown.order.quantity >= known.order.quantity


def test_counts_on_site_outrank_what_was_detected():
    pipes = tuple(
        RoofObject(id=f"o{i}", kind="pipe", plane="A", position=(0.0, 0.0, 0.0), size=(0.1, 0.1))
        for i in range(3)
    )
    detected = line(take(gable(40, 15, 6, objects=pipes)), "pipe boots")
    assert (detected.net.value, detected.status, detected.origin) == (3, "check", ("o0", "o1", "o2"))
    counted = line(take(gable(40, 15, 6, objects=pipes), counts={"pipe_boots": 2}), "pipe boots")
    assert (counted.net.value, counted.status, counted.order.quantity) == (2, "in_scope", 2)


@pytest.mark.parametrize(("width_in", "owed"), [(30, False), (30.01, True)])
def test_a_cricket_is_owed_behind_a_chimney_over_30_inches_wide(width_in, owed):
    """Oracle: IRC 2018 R903.2, a chimney more than 30 in wide."""
    result = take(gable(40, 15, 6, objects=(chimney(width_in * 0.0254),)))
    assert has(result, "chimney cricket") == owed


def test_what_was_not_counted_is_said():
    notices = {n.code: n.text for n in take(gable(40, 15, 6)).notices}
    assert "deck_sheets, pipe_boots, roof_vents" in notices["not_counted"]
    everything = {"deck_sheets": 0, "pipe_boots": 0, "roof_vents": 0}
    assert "not_counted" not in [n.code for n in take(gable(40, 15, 6), counts=everything).notices]


def test_a_subset_of_planes_takes_only_those_and_names_the_shared_edges():
    result = take(gable(40, 15, 6), planes=("A",))
    assert line(result, "field shingles").net.value == pytest.approx(40 * 15 * 1.118034 / 100)
    assert line(result, "field shingles").origin == ("A",)
    assert line(result, "drip edge at eaves").net.value == pytest.approx(40)
    assert line(result, "hip and ridge caps").net.value == pytest.approx(40)
    (notice,) = [n for n in result.notices if n.code == "shared_with_untouched"]
    assert notice.about == ("e3",)
    assert "shared_with_untouched" not in [n.code for n in take(gable(40, 15, 6)).notices]
    assert "storeys" not in notice.text


def test_objects_of_untouched_planes_are_not_counted():
    result = take(gable(40, 15, 6, objects=(chimney(0.5, plane="B"),)), planes=("A",))
    assert not has(result, "chimney flashing")


def test_a_wall_is_flashed_stepped_kicked_out_and_countered():
    result = take(lean_to(12, 20, 6))
    assert line(result, "kick-out flashing").net.value == 1
    assert line(result, "apron flashing").net.value == pytest.approx(12)
    assert (line(result, "apron flashing").order.quantity) == 2
    assert line(result, "counter-flashing").net.value == pytest.approx(32)
    assert line(result, "counter-flashing").status == "check"
    assert not has(take(gable(40, 15, 6)), "step flashing")


def test_a_wall_in_two_pieces_has_one_foot():
    corners = [(0, 0, 9), (12, 0, 9), (12, 8, 13), (12, 16, 17), (0, 16, 17)]
    edges = [("eave", 0, 1, "A"), ("sidewall", 1, 2, "A"), ("sidewall", 3, 2, "A"), ("ridge", 3, 4, "A")]
    result = take(build_roof(corners, {"A": [0, 1, 2, 3, 4]}, edges))
    assert line(result, "kick-out flashing").net.value == 1
    assert line(result, "kick-out flashing").origin == ("e2",)


def test_a_wall_across_the_slope_is_stepped_once_a_course():
    """Oracle: by hand; 20 ft along the fall are 42.67 courses, however long the wall is."""
    corners = [(0, 0, 9), (12, 0, 9), (24, 16, 21), (0, 16, 21)]
    edges = [("eave", 0, 1, "A"), ("sidewall", 1, 2, "A"), ("ridge", 2, 3, "A"), ("rake", 3, 0, "A")]
    step = line(take(build_roof(corners, {"A": [0, 1, 2, 3]}, edges)), "step flashing")
    assert step.net.value == pytest.approx(240 / 5.625)
    assert step.order.quantity == 43


def test_lines_name_the_planes_and_edges_they_come_from():
    result = take(hip(50, 30, 7))
    assert line(result, "hip and ridge caps").origin == ("e5", "e6", "e7", "e8", "e9")
    assert line(result, "field shingles").origin == ("A", "B", "C", "D")


def test_the_output_says_that_it_decides_no_coverage():
    assert any("nothing here decides what a policy covers" in n.text for n in take(gable(40, 15, 6)).notices)


@pytest.mark.parametrize(
    ("request_", "text"),
    [
        (
            {"retained": ("gutters",)},
            "job.toml: [scope] retained: unknown item 'gutters', need one of perimeter",
        ),
        ({"code_items": ("x",)}, "job.toml: [scope] code_items: unknown item 'x'"),
        (
            {"retained": ("starter",), "excluded": ("starter",)},
            "[scope] excluded: item 'starter' is also listed as",
        ),
        ({"planes": ("C",)}, "[scope] planes: unknown plane 'C', need some of A, B"),
        ({"planes": ()}, "[scope] planes: got none, need some of A, B"),
        ({"counts": {"boots": 1}}, "[counts] boots: unknown count, need one of furnace_flues, pipe_boots"),
        ({"counts": {"pipe_boots": -1}}, "[counts] pipe_boots: got -1, need a whole number"),
        ({"counts": {"pipe_boots": 1.5}}, "[counts] pipe_boots: got 1.5, need a whole number"),
        ({"counts": {"pipe_boots": 10**9}}, "[counts] pipe_boots: got 1000000000"),
        ({"assurance": 1.0}, "assurance: got 1, need a number between 0 and 1"),
        ({"assurance": float("nan")}, "assurance: got nan"),
        ({"deck": "plank"}, "[site] deck: got 'plank', need 'solid' or 'spaced'"),
        ({"shingle_layers": -1}, "[site] shingle_layers: got -1, need 0 to 5"),
        ({"felt_layers": 50}, "[site] felt_layers: got 50"),
        ({"storeys": 0}, "[site] storeys: got 0"),
        ({"overhang_m": 30.0}, "[site] overhang_m: got 30 m"),
        ({"overhang_m": float("nan")}, "[site] overhang_m: got nan m"),
    ],
)
def test_a_request_that_cannot_be_meant_is_refused_by_field(request_, text):
    with pytest.raises(InputError) as caught:
        take(gable(40, 15, 6), **request_)
    assert text in str(caught.value) and "\n" not in str(caught.value)
