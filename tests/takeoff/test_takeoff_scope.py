"""Whose a line is, and requests that the roof or the system does not understand."""

import pytest

from slopewright.errors import InputError
from slopewright.roof import RoofObject
from takeoff.takeoff_roofs import build_roof, gable, has, hip, lean_to, line, system, take, valley_pair


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


def test_what_the_system_leaves_out_can_be_put_in_scope():
    """Gutters that are this job's after all, and chimney flashing that is not sound."""
    request = {"in_scope": ("gutters off and on", "chimney flashing"), "counts": {"chimneys": 1}}
    result = take(gable(40, 15, 6), **request)
    assert line(result, "gutters off and on").status == "in_scope"
    assert line(result, "chimney flashing").status == "in_scope"


def test_what_only_a_code_demands_is_a_group_with_its_sections():
    """Oracle: IRC 2018 R905.2.1 (solid deck), R905.2.8.5 (drip edge where there was none)."""
    result = take(gable(40, 15, 6), deck="spaced", code_items=("drip edge at eaves", "starter"))
    (group,) = [n for n in result.notices if n.code == "code_items"]
    assert "deck overlay (IRC 2018 R905.2.1)" in group.text
    assert "drip edge at eaves (IRC 2018 R905.2.8.5)" in group.text
    assert "starter (the system names no section: ask for it)" in group.text
    assert "code_items" not in [n.code for n in take(gable(40, 15, 6)).notices]


def test_sheets_of_the_deck_are_listed_by_cause():
    """Oracle: common practice; whole sheets, each cause its own line, none decided on."""
    result = take(gable(40, 15, 6), counts={"deck_sheets_rot": 4, "deck_sheets_impact": 1})
    rot, impact = line(result, "deck sheets, rot"), line(result, "deck sheets, impact")
    assert (rot.net.value, rot.order.quantity, rot.status) == (4, 4, "check")
    assert (impact.net.value, impact.status) == (1, "in_scope")
    assert not has(result, "deck sheets, wear")
    with_more = take(
        gable(40, 15, 6), counts={"deck_sheets_rot": 4, "deck_sheets": 0}, excluded=("deck sheets, rot",)
    )
    assert line(with_more, "deck sheets, rot").status == "excluded"


@pytest.mark.parametrize("layers", [0, 2, 3])
def test_a_recover_is_refused_over_no_layer_and_over_two_or_more(layers):
    """Oracle: IRC 2018 R908.3."""
    with pytest.raises(InputError) as caught:
        take(gable(40, 15, 6), using=system("composition-recover"), shingle_layers=layers)
    assert f"job.toml: [site] shingle_layers: got {layers}, need 1 to 1" in str(caught.value)
    assert "R908.3" in str(caught.value)


def test_a_recover_over_one_layer_takes_nothing_off_but_caps():
    result = take(hip(50, 30, 6), using=system("composition-recover"), shingle_layers=1)
    assert not has(result, "shingles off, first layer") and not has(result, "underlayment, single")
    assert line(result, "caps off").net.value == pytest.approx(20 + 4 * 22.5)
    assert line(result, "weight added").net.value == pytest.approx(1500 * 1.118034 / 100 * 262.5)


@pytest.mark.parametrize(
    ("name", "deck", "text"),
    [
        ("composition-recover", "spaced", "got 'spaced', need 'solid' for system composition-recover"),
        ("composition-over-wood", "solid", "got 'solid', need 'spaced' for system composition-over-wood"),
    ],
)
def test_a_system_is_refused_on_a_deck_that_it_is_not_for(name, deck, text):
    """Oracle: IRC 2018 R905.2.1, shingles lie on solid sheathing."""
    with pytest.raises(InputError) as caught:
        take(gable(40, 15, 6), using=system(name), deck=deck)
    assert f"job.toml: [site] deck: {text}" in str(caught.value)


def test_spaced_boards_that_carried_wood_are_overlaid_and_the_wood_comes_off():
    """Oracle: IRC 2018 R905.2.1; 32 ft² a panel."""
    result = take(gable(40, 16, 0.001), using=system("composition-over-wood"), deck="spaced")
    assert line(result, "deck overlay").net.value == pytest.approx(2 * 40 * 16 / 32)
    assert line(result, "deck overlay").status == "code_item"
    assert line(result, "wood shingles off").net.value == pytest.approx(12.8)
    assert line(result, "wood shingles off").status == "check"


def test_work_that_ends_at_an_untouched_plane_is_tied_in():
    """The south side and the east end of a hip roof: one hip is theirs, two hips and the ridge are shared.

    Oracle: by hand; 30 ft of span at 6 in 12: hips of 22.5 ft, ridge of 20 ft, caps over both sides of each.
    """
    roof = hip(50, 30, 6)
    result = take(roof, planes=("A", "B"))
    tie_in, caps = line(result, "tie-in to untouched planes"), line(result, "hip and ridge caps")
    assert tie_in.net.value == pytest.approx(20 + 2 * 22.5)
    assert (tie_in.origin, tie_in.status) == (("e5", "e7", "e9"), "check")
    assert caps.net.value == pytest.approx(20 + 3 * 22.5)
    assert "Shared with an untouched plane and counted whole: e5, e7, e9." in caps.rule
    (said,) = [n for n in result.notices if n.code == "shared_with_untouched"]
    assert "hip e5, hip e7, ridge e9: caps lie over both sides" in said.text
    assert not has(take(roof), "tie-in to untouched planes")
    assert "untouched" not in line(take(roof), "hip and ridge caps").rule


def test_a_valley_to_an_untouched_plane_is_lined_whole_and_said():
    result = take(valley_pair(15, 8), planes=("A",))
    assert line(result, "valley metal").net.value == pytest.approx(23.45, abs=0.005)
    assert line(result, "tie-in to untouched planes").net.value == pytest.approx(23.45, abs=0.005)
    (said,) = [n for n in result.notices if n.code == "shared_with_untouched"]
    assert "valley e3: lining is counted whole" in said.text


def test_the_parts_of_a_roof_take_as_much_as_the_whole_where_nothing_is_shared():
    """Oracle: additivity of areas and of edges that bound one plane only."""
    roof = hip(50, 30, 7)
    whole, one, two = take(roof), take(roof, planes=("A", "B")), take(roof, planes=("C", "D"))
    for item in ("field shingles", "drip edge at eaves", "felt off", "nails"):
        both = line(one, item).net.value + line(two, item).net.value
        assert both == pytest.approx(line(whole, item).net.value)
