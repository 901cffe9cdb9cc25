"""System files: what is refused, by file and field, and what the shipped ones hold."""

import copy

import pytest

from slopewright import takeoff
from slopewright.errors import InputError
from takeoff.takeoff_roofs import SYSTEMS, gable, layer_of, line, system, system_document, take

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
    ],
)
def test_a_contradiction_is_refused_by_field(document, text):
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
