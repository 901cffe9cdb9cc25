"""roof.json and covariance.json: schema, round trip, refusal."""

import copy
import json
from importlib.resources import files

import jsonschema
import numpy as np
import pytest

from report import hand_roofs
from slopewright import report
from slopewright.errors import InputError
from slopewright.scene import EdgeKind, Notice

HOSTILE = [
    "=cmd|' /C calc'!A0",
    "<script>alert('x')</script> & \"quotes\"",
    "\u202eright to left \u05d0\u05d1\u05d2 \u0645\u0631\u062d\u0628\u0627",
    "🏠🔨 roof",
    "x" * 300,
    "bell\x07 escape\x1b[31m null\x00 tab\t line\nfeed",
    "#set page(fill: red) $x^2$ {{7*7}} ${HOME} %s",
]


def schema(name):
    return json.loads(files("slopewright.report").joinpath("schemas", f"{name}.schema.json").read_bytes())


def validate(content, name):
    """Oracle: JSON Schema draft 2020-12 by an independent validator."""
    loaded = schema(name)
    jsonschema.Draft202012Validator.check_schema(loaded)
    jsonschema.Draft202012Validator(loaded).validate(content)


def through_bytes(content):
    return json.loads(report.json_bytes(content))


@pytest.mark.parametrize("name", hand_roofs.ALL)
def test_roof_json_keeps_the_schema_and_comes_back_the_same(name):
    """Oracle: the schema; definition of a round trip, on bytes and on the arrays themselves."""
    roof = hand_roofs.ALL[name](origin=(512000.5, 5403000.25, 300.0), crs="EPSG:25832")
    content, joint = through_bytes(report.roof_json(roof)), through_bytes(report.covariance_json(roof.joint))
    validate(content, "roof")
    validate(joint, "covariance")

    back = report.roof_from_json(content, file="roof.json", covariance=joint)

    assert report.json_bytes(report.roof_json(back)) == report.json_bytes(report.roof_json(roof))
    assert len(back.vertices) == len(roof.vertices)
    for mine, theirs in zip(roof.planes, back.planes, strict=True):
        assert len(mine.loops) == len(theirs.loops)
        for a, b in zip(mine.loops, theirs.loops, strict=True):
            np.testing.assert_allclose(back.ring(b), roof.ring(a), atol=5.1e-7)
    for mine, theirs in zip(roof.edges, back.edges, strict=True):
        np.testing.assert_allclose(
            back.vertices[[theirs.start, theirs.end]], roof.vertices[[mine.start, mine.end]], atol=5.1e-7
        )
    assert back.joint.names == roof.joint.names
    np.testing.assert_allclose(back.joint.covariance, roof.joint.covariance, atol=1e-8)
    assert back.frame.ground_z_m == pytest.approx(-3.0, abs=2e-6)


def test_creases_of_a_read_roof_share_their_corners():
    """Oracle: topology; a hip roof of 4 faces has 6 corners and 9 edges."""
    back = report.roof_from_json(report.roof_json(hand_roofs.hip()), file="roof.json")
    assert len(back.vertices) == 6
    for edge in back.edges:
        for plane in back.planes:
            if plane.id in edge.planes:
                assert {edge.start, edge.end} <= set(plane.loops[0])


def test_an_eave_height_is_null_where_no_ground_was_seen():
    content = report.roof_json(hand_roofs.gable(ground_z=None))
    validate(content, "roof")
    assert [plane["eave_height"] for plane in content["planes"]] == [None, None]
    assert report.roof_from_json(content, file="roof.json").frame.ground_z_m is None


def test_a_lone_roof_json_gives_the_widest_bound_and_says_so():
    """Oracle: with correlation 1 uncertainties add (JCGM 100:2008, 5.2.2 note 1)."""
    roof = hand_roofs.hip()
    back = report.roof_from_json(report.roof_json(roof), file="roof.json")
    total = back.joint.combine({f"area:{plane.id}": 1.0 for plane in back.planes})
    assert total.u == pytest.approx(sum(plane.area.u for plane in roof.planes), abs=1e-5)
    assert total.u > roof.area.u
    assert [n.code for n in back.notices] == ["correlation_not_given"]
    again = report.roof_from_json(report.roof_json(back), file="roof.json")
    assert len(again.notices) == 1


def test_a_clockwise_closed_outline_of_another_program_is_turned():
    content = report.roof_json(hand_roofs.gable_with_hole())
    ring = content["planes"][0]["outline"]
    content["planes"][0]["outline"] = [*ring, ring[0]][::-1]
    content["planes"][0]["holes"][0].reverse()
    plane = report.roof_from_json(content, file="roof.json").planes[0]
    mine = hand_roofs.gable_with_hole().planes[0]
    assert [len(loop) for loop in plane.loops] == [4, 4]
    roof = report.roof_from_json(content, file="roof.json")
    vector = sum(hand_roofs.ring_vector_area(roof.ring(loop)) for loop in plane.loops)
    assert vector @ mine.normal == pytest.approx(mine.area.value, rel=1e-6)


@pytest.mark.parametrize("text", HOSTILE)
def test_any_text_comes_back_as_it_went_in(text):
    roof = hand_roofs.gable(
        name_planes=[text, "B"], crs=text, notices=(Notice(code="c", text=text, about=(text,)),)
    )
    content = through_bytes(report.roof_json(roof))
    validate(content, "roof")
    assert content["planes"][0]["id"] == content["warnings"][0]["text"] == content["frame"]["crs"] == text
    assert report.roof_from_json(content, file="roof.json").planes[0].id == text


def test_a_lone_surrogate_does_not_stop_the_writing():
    assert b"?" in report.json_bytes({"name": "\ud800"})


def test_a_number_that_is_not_finite_is_never_written():
    roof = hand_roofs.gable()
    bad = copy.copy(roof)
    object.__setattr__(bad, "area", type(roof.area)(float("nan"), 0.1, 0.0, 1.0))
    with pytest.raises(ValueError, match="finite"):
        report.roof_json(bad)


def broken(change):
    content = report.roof_json(hand_roofs.hip())
    change(content)
    return content


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda c: c.update(format="other"), r"roof\.json: format is 'other', need \"slopewright-roof\""),
        (lambda c: c.update(version=2), r"roof\.json: version is 2, need 1"),
        (lambda c: c.pop("planes"), r"roof\.json: planes is missing"),
        (lambda c: c.update(planes=[]), r"planes is \[\], need one plane at least"),
        (lambda c: c.update(edges={}), r"edges is \{\}, need an array"),
        (lambda c: c["planes"][2].pop("area"), r"planes\[2\]\.area is missing"),
        (
            lambda c: c["planes"][2]["area"].update(u=-1),
            r"planes\[2\]\.area\.u is -1, need a finite number from 0",
        ),
        (
            lambda c: c["planes"][2]["area"].update(low=1e9),
            r"planes\[2\]\.area is .*need low <= value <= high",
        ),
        (
            lambda c: c["planes"][0]["area"].update(value="3"),
            r'planes\[0\]\.area\.value is "3", need a number',
        ),
        (
            lambda c: c["planes"][0]["area"].update(value=True),
            r"planes\[0\]\.area\.value is true, need a number",
        ),
        (lambda c: c["planes"][0].update(normal=[0, 0, -1]), r"planes\[0\]\.normal .*points up"),
        (lambda c: c["planes"][0].update(normal=[0, 0, 2]), r"planes\[0\]\.normal .*unit vector"),
        (lambda c: c["planes"][0].update(outline=[[0, 0, 0]] * 5), r"outline .*three different corners"),
        (lambda c: c["planes"][0]["outline"][1].pop(), r"planes\[0\]\.outline\[1\] is .*need 3 numbers"),
        (lambda c: c["planes"][0].update(id="B"), r"id 'B' stands 2 times"),
        (lambda c: c["planes"][0].update(points=2.5), r"planes\[0\]\.points is 2\.5, need a whole number"),
        (
            lambda c: c["planes"][0].update(observed=1.5),
            r"observed is 1\.5, need a finite number from 0 to 1",
        ),
        (
            lambda c: c["planes"][0].update(area={"value": 582.0, "u": 1, "low": 580, "high": 584}),
            r"planes\[0\]\.area\.value is 582\.0, need about 54\.08 m², as its outline encloses",
        ),
        (
            lambda c: c["edges"][0].update(length={"value": 45.9, "u": 1, "low": 40, "high": 50}),
            r"edges\[0\]\.length\.value is 45\.9, need about 14 m, from start to end",
        ),
        (lambda c: c["edges"][3].update(kind="gutter"), r'edges\[3\]\.kind is "gutter", need one of eave'),
        (lambda c: c["edges"][3].update(planes=["Q"]), r"edges\[3\]\.planes .*ids of planes"),
        (lambda c: c["edges"][3].update(end=c["edges"][3]["start"]), r"edges\[3\]\.end .*another spot"),
        (lambda c: c["frame"].update(unit="ft"), r'frame\.unit is "ft", need "m"'),
        (
            lambda c: c["totals"]["edges"].update(gutter=None),
            r'totals\.edges: a key is "gutter", need one of',
        ),
        (lambda c: c["budget"][0].update(area_share=7), r"budget\[0\]\.area_share is 7"),
        (lambda c: c["warnings"].append("x"), r"warnings\[0\] is \"x\", need an object with 'code'"),
    ],
)
def test_a_wrong_roof_json_is_refused_by_file_and_field(change, message):
    with pytest.raises(InputError, match=message) as caught:
        report.roof_from_json(broken(change), file="roof.json")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("content", [None, [], 3, "text"])
def test_json_that_is_no_object_is_refused(content):
    with pytest.raises(InputError, match=r"roof\.json: format is None"):
        report.roof_from_json(content, file="roof.json")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda c: c["values"].__setitem__(0, 1.0), r"covariance\.json: area:A is 1, roof\.json says 54.08"),
        (
            lambda c: c["names"].__setitem__(0, "area:Q"),
            r"names lacks 'area:A', need the file of the same run",
        ),
        (lambda c: c["correlation"].pop(), r"correlation is .*rows"),
        (lambda c: c["correlation"][1].pop(), r"correlation\[1\] is .*need 2 numbers"),
        (lambda c: c["u"].pop(), r"u is .*need 17 numbers"),
        (lambda c: c["names"].__setitem__(0, "area:B"), r"names is .*each name once"),
        (lambda c: c["correlation"][2].__setitem__(slice(2), [1.0, -1.0]), r"negative eigenvalue"),
    ],
)
def test_a_covariance_that_does_not_fit_is_refused(change, message):
    roof = hand_roofs.hip()
    joint = report.covariance_json(roof.joint)
    change(joint)
    with pytest.raises(InputError, match=message):
        report.roof_from_json(
            report.roof_json(roof), file="roof.json", covariance=joint, covariance_file="covariance.json"
        )


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "not JSON"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b'{"a": NaN}', "holds NaN, need finite numbers"),
        (b"[" * 100_000, "nested too deep"),
        (b'{"a": ' + b"9" * 5000 + b"}", "a number too long"),
    ],
)
def test_a_file_that_is_not_json_is_refused_by_name(tmp_path, data, message):
    path = tmp_path / "roof.json"
    path.write_bytes(data)
    with pytest.raises(InputError, match=message) as caught:
        report.read_json(path)
    assert str(path) in str(caught.value)


def test_a_missing_file_is_refused_by_name(tmp_path):
    with pytest.raises(InputError, match=r"none\.json: cannot be read"):
        report.read_json(tmp_path / "none.json")


def test_every_kind_of_edge_is_in_the_schema():
    kinds = schema("roof")["$defs"]["edge"]["properties"]["kind"]["enum"]
    assert sorted(kinds) == sorted(EdgeKind)
