"""System files: what is refused, by file and field, and what the shipped ones hold."""

import copy

import pytest

from slopewright import takeoff
from slopewright.errors import InputError
from slopewright.takeoff.laying import lay_roof
from takeoff.takeoff_roofs import (
    SYSTEMS,
    gable,
    inside_corner,
    layer_of,
    line,
    system,
    system_document,
    take,
)

SHIPPED = sorted(path.stem for path in SYSTEMS.glob("composition-*.toml"))


def refused(document: dict) -> str:
    with pytest.raises(InputError) as caught:
        takeoff.system_from_toml(document, file="my.toml")
    text = str(caught.value)
    assert text.startswith("my.toml: ") and "\n" not in text
    return text


def changed(**keys: object) -> dict:
    document = system_document()
    document.update(keys)
    return document


def changed_layer(layer: str, /, **keys: object) -> dict:
    document = system_document()
    layer_of(document, layer).update(keys)
    return document


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_system_is_accepted_and_named_as_its_file(name):
    assert system(name).name == name


@pytest.mark.parametrize("name", SHIPPED)
def test_every_layer_names_its_source_and_states_its_rule(name):
    for layer in system(name).layer:
        assert len(layer.source) > 10 and len(layer.rule) > 10
        if layer.package is not None:
            assert layer.package.source
        if layer.waste is not None:
            assert layer.waste.source


@pytest.mark.parametrize("name", SHIPPED)
def test_layers_stand_in_the_order_of_the_work(name):
    """Oracle: order of the work (UFGS 07 31 13 list; EN5156), tear-off before repair before install."""
    layers = system(name).layer
    phases = [layer.phase for layer in layers]
    assert phases == sorted(phases, key=["tear_off", "repair", "install", "clean_up"].index)
    order = ["drip edge at eaves", "underlayment, single", "drip edge at rakes", "starter", "field shingles"]
    order += ["step flashing", "hip and ridge caps"]
    items = [layer.item for layer in layers]
    places = [items.index(item) for item in order if item in items]
    assert places == sorted(places) and len(places) >= 5


def test_the_strip_system_has_a_closed_valley_without_metal():
    assert "valley metal" not in system("composition-strip").items
    assert "valley underlayment" in system("composition-strip").items


@pytest.mark.parametrize(
    ("name", "reach_in", "metal"),
    [
        ("composition-laminated", -3, True),  # open: 6 in between the shingles of both sides
        ("composition-laminated-closed", 5, False),  # 12 in across on one side, 2 in short on the other
        ("composition-strip", 5, False),
        ("composition-strip-woven", 12, False),  # 12 in across from both sides
    ],
)
def test_shingles_reach_into_a_valley_as_it_is_closed_woven_or_open(name, reach_in, metal):
    """Oracle: by hand; a valley of 15 ft (10 ft of run at 6 in 12, factor 1.5), both sides of it."""
    using, roof = system(name), inside_corner(20, 12, 10, 6)
    pattern = using.pattern(using.laying)
    beyond = dict(pattern.beyond_m)
    edges_ft2 = 0.375 / 12 * (20 + 12 + 2 * 10 * 1.118034)  # eaves and rakes, corners but for a hair
    covered_m2 = sum(plane.overhang_m2 for plane in lay_roof(roof, roof.planes, pattern).planes)
    assert beyond["valley"] == pytest.approx(reach_in * 0.0254)
    assert covered_m2 / 0.3048**2 == pytest.approx(2 * 15 * reach_in / 12 + edges_ft2, abs=0.6)
    assert ("valley metal" in using.items) == metal


@pytest.mark.parametrize(
    ("name", "pieces"),
    [
        ("composition-laminated", 65.0),
        ("composition-laminated-inch", 80),
        ("composition-strip", 80),
        ("composition-strip-metric", 65.0),
    ],
)
def test_both_kinds_of_shingle_come_in_two_sizes(name, pieces):
    """Oracle: EN5156, 14,400 / (width x exposure): 36 x 5 in 80 a square, 39 3/8 x 5 5/8 in 65.0."""
    assert system(name).shingle.pieces_per_square == pytest.approx(pieces, abs=0.05)


def test_an_unknown_key_is_named_with_the_known_ones():
    assert refused(changed(colour="grey")).startswith(
        "my.toml: colour: unknown key, need one of format, version"
    )
    text = refused(changed_layer("starter", lenght=3))
    assert "(starter): lenght: unknown key, need one of item, phase" in text


def test_an_unknown_key_of_a_nested_table_is_named_with_the_known_ones():
    document = system_document()
    layer_of(document, "starter")["waste"]["middle"] = 0.02
    assert "(starter): waste.middle: unknown key, need one of low, high, source" in refused(document)
    document = system_document()
    document["shingle"]["weight"] = 3
    assert "shingle.weight: unknown key, need one of width_in, exposure_in" in refused(document)


def test_a_missing_key_is_named():
    document = system_document()
    del layer_of(document, "starter")["source"]
    assert "(starter): source: missing, need a value" in refused(document)
    document = system_document()
    del document["shingle"]["exposure_in"]
    assert "shingle.exposure_in: missing, need a value" in refused(document)


@pytest.mark.parametrize("value", [-5, 0, float("nan"), float("inf"), "5 5/8", True])
def test_a_size_that_is_no_positive_number_is_refused(value):
    document = system_document()
    document["shingle"]["exposure_in"] = value
    assert "shingle.exposure_in: got" in refused(document)


@pytest.mark.parametrize(
    ("document", "text"),
    [
        (changed(format="other"), "format: got 'other'"),
        (changed(version=2), "version: got 2"),
        (
            changed(edition="IRC2018"),
            "edition 'IRC2018' is not in the steep table of 'ice barrier': IRC 2012",
        ),
        (changed(layer=[]), "layer: got none"),
        (changed(layer=[3]), "layer 1: got 3, need a table"),
        (changed_layer("starter", measure="volume"), "measure: got 'volume', need one of area, edges"),
        (changed_layer("starter", measure=["edges"]), "measure: got ['edges'], need one of area, edges"),
        (changed_layer("starter", unit="sq"), "unit: got 'sq'"),
        (changed_layer("starter", edges=["gutter"]), "edges.0: got 'gutter'"),
        (changed_layer("starter", edges=[]), "edges: got []"),
        (changed_layer("starter", phase="later"), "phase: got 'later'"),
        (changed_layer("starter", status="maybe"), "status: got 'maybe'"),
        (
            changed_layer("starter", waste={"low": 0.2, "high": 0.1, "source": "x"}),
            "low 0.2 is above high 0.1",
        ),
        (changed_layer("starter", waste={"low": -0.1, "high": 0.1, "source": "x"}), "waste.low: got -0.1"),
        (changed_layer("starter", waste={"low": 0.1, "high": 15, "source": "x"}), "waste.high: got 15"),
        (
            changed_layer("starter", package={"unit": "bundle", "source": "x"}),
            "package: got none, need exactly one",
        ),
        (
            changed_layer("starter", package={"unit": "b", "holds_ft": 3, "holds_ft2": 3, "source": "x"}),
            "package: got holds_ft2 and holds_ft, need exactly one",
        ),
        (
            changed_layer("starter", package={"unit": "b", "holds_ft2": 3, "source": "x"}),
            "package does not fit unit 'lf', need holds_ft or pieces or stock_ft",
        ),
        (
            changed_layer("field shingles", package={"unit": "b", "pieces": 3, "source": "x"}),
            "pieces and piece_exposure_in go together",
        ),
        (
            changed_layer("valley metal", package={"unit": "p", "stock_ft": 1, "lap_in": 12, "source": "x"}),
            "lap_in 12 is not below stock_ft 1 ft",
        ),
        (
            changed_layer("valley metal", waste={"low": 0.0, "high": 0.1, "source": "x"}),
            "waste and stock_ft exclude each other",
        ),
        (changed_layer("felt off", per_square=2.0), "unit 'sq' takes neither per_square"),
        (changed_layer("felt off", rise_from=2, rise_above=3), "rise_from and rise_above exclude each other"),
        (changed_layer("felt off", rise_from=100), "rise_from: got 100"),
        (changed_layer("ice barrier", course_lap_in=36), "course_lap_in is not below course_width_in"),
        (changed_layer("ice barrier", overhang_range_in=[24, 0]), "overhang_range_in"),
        (changed_layer("pipe boots", count="pipe boots"), "count: got 'pipe boots'"),
        (changed_layer("debris weight", per_square_range=[350, 175]), "per_square_range"),
        (changed_layer("starter", item="Field Shingles"), "is named twice"),
        (changed_layer("deck overlay", code=None), "status 'code_item' without code"),
        (changed_layer("underlayment, double", rise_below=2), "rise_below 2 is not above 2: no plane fits"),
        (
            changed_layer("underlayment, single", gives_way_to="felt"),
            "need a layer of measure eave_band: ice",
        ),
        (changed_layer("underlayment, single", beyond_in={"hip": -6}), "beyond_in.hip: got -6"),
        (changed_layer("underlayment, single", beyond_in={"gutter": 6}), "beyond_in"),
        (changed_layer("field shingles", gives_way_to="ice barrier"), "and not with laid"),
        (changed_layer("starter", tie_in="yes"), "tie_in: got 'yes'"),
        (changed_layer("debris weight", per_square_range=[0, 350]), "per_square_range.0: got 0"),
        (changed(for_deck="planks"), "for_deck: got 'planks'"),
    ],
)
def test_a_contradiction_is_refused_by_field(document, text):
    assert text in refused(document)


@pytest.mark.parametrize(
    ("item", "table", "key", "value"),
    [
        ("field shingles", "package", "holds_ft2", 32e6),
        ("field shingles", "package", "holds_ft2", -32),
        ("hip and ridge caps", "package", "pieces", 10**9),
        ("valley metal", "package", "stock_ft", 3048.0),
        ("valley metal", "package", "lap_in", -6),
        ("ice barrier", None, "course_width_in", 914.4),
        ("ice barrier", None, "inside_wall_in", 0),
        ("nails", None, "nails_per_lb", 1e9),
        ("underlayment, single", "package", "roll_width_in", 914.4),
    ],
)
def test_an_absurd_number_is_refused_by_field(item, table, key, value):
    """914.4 mm for 36 in, 3048 mm for 10 ft and the like: slips of the unit or of the keyboard."""
    document = system_document()
    layer = layer_of(document, item)
    (layer if table is None else layer[table])[key] = value
    assert f"({item}): {f'{table}.' if table else ''}{key}: got {value!r}" in refused(document)


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"width_in": 1000.0}, "shingle.width_in: got 1000.0"),  # the metric size in millimetres
        ({"exposure_in": 36e3}, "shingle.exposure_in: got 36000.0"),
        ({"steep_nails": 3}, "shingle: steep_nails 3 is below nails 4"),
        ({"steep_above": 2}, "shingle: steep_above 2 is not above lowest_rise 2"),
        ({"nails": 400}, "shingle.nails: got 400"),
    ],
)
def test_a_shingle_that_cannot_be_is_refused_by_field(changes, text):
    document = system_document()
    document["shingle"].update(changes)
    assert text in refused(document)


@pytest.mark.parametrize("limits", [[4, 2], [2, 4], [0, 2, 2], []])
def test_class_limits_must_ascend_from_zero(limits):
    document = system_document()
    document["classes"]["rise_from"] = limits
    assert "classes: limits" in refused(document)


def test_a_layer_more_is_a_table_more():
    """Oracle: by hand; a ridge of 40 ft in pieces of 4 ft without lap."""
    document = system_document()
    document["layer"].append(
        {
            "item": "ridge vent",
            "phase": "install",
            "unit": "lf",
            "measure": "edges",
            "edges": ["ridge"],
            "rule": "Along the ridge.",
            "source": "the test",
            "package": {"unit": "piece", "stock_ft": 4, "source": "the test"},
        }
    )
    using = takeoff.system_from_toml(document, file="my.toml")
    vent = line(take(gable(40, 15, 6), using=using), "ridge vent")
    assert (vent.net.value, vent.order.quantity) == (pytest.approx(40), 10)


def test_the_document_is_not_changed():
    document = system_document()
    before = copy.deepcopy(document)
    takeoff.system_from_toml(document, file="my.toml")
    assert document == before
