"""Tape measurements, another party's list and photos on the pages and in the files, read back.

Oracles: tape.json and compare.json converted by the exact foot and square; pypdf; the text that was given.
"""

import io
import json
import re
from importlib.resources import files

import jsonschema
import pytest
from PIL import Image
from pypdf import PdfReader

from report.hostile_texts import TEXTS
from slopewright import dispute, mesh, report, takeoff
from slopewright.checks import TapeReading
from slopewright.errors import InputError
from slopewright.report.compare_text import compare_text
from slopewright.report.pictures import MOST_PX, as_svg
from slopewright.report.tape_text import tape_text
from slopewright.report.text import plain_text
from slopewright.roof import TakeoffRequest
from slopewright.units import FOOT_M
from takeoff.takeoff_roofs import hip, line, system, take

ROOF = hip(50, 30, 7, scale_u=0.001, corner_u_m=0.02)
TAKEN = take(ROOF)
OURS = dispute.our_quantities(ROOF, TAKEN)


def reading(name, length_m, where="tape.csv line 2", of=None):
    return TapeReading(
        where=where,
        of=of or name,
        edges=(name,),
        stated=f"{length_m:.2f} m",
        length_m=length_m,
        u_m=0.01,
        how="tape",
    )


def checked():
    readings = [reading("e1", 15.25), reading("e2", 6.0), reading("e9", 6.12)]
    return dispute.check_tape(ROOF, readings)


def compared(item="roof area", quantity=15.0):
    table = f"item;quantity;unit\nroof area;{quantity};sq\nridge;20;lf\nhip;94;lf\n"
    theirs, left_out = dispute.read_other(table.encode(), file="other.csv", ours=OURS, names={})
    return dispute.compare(ROOF, theirs, OURS, left_out=left_out), theirs


def jpeg(width=640, height=480):
    stream = io.BytesIO()
    Image.linear_gradient("L").resize((width, height)).convert("RGB").save(stream, "JPEG")
    return stream.getvalue()


def pdf(**more):
    return report.run(ROOF, TAKEN, mesh.run(ROOF), title="A job", **more)["report.pdf"]


def text_of(content):
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).replace("\u200b", "").split())


@pytest.mark.parametrize("metric", [False, True])
def test_the_page_of_the_tape_has_the_numbers_of_tape_json(metric):
    check = checked()
    content = json.loads(report.json_bytes(report.tape_json(check, roof_sha256="0" * 64)))
    shown = text_of(pdf(tape=check, metric=metric))
    unit_m, name, places = (1.0, "m", 3) if metric else (FOOT_M, "ft", 2)
    for one in content["readings"]:
        length = rf"([\d.]+) {name} ± [\d.]+"
        pattern = rf" {one['of']} {length} {length} ([+-][\d.]+) {name} ([+-][\d.]+)"
        row = re.search(pattern, shown)
        assert row, one
        taped, model, difference, e_n = (float(value) for value in row.groups())
        assert taped == pytest.approx(one["length_m"] / unit_m, abs=0.5 * 10**-places + 1e-9)
        assert model == pytest.approx(one["model_m"]["value"] / unit_m, abs=0.5 * 10**-places + 1e-9)
        assert difference == pytest.approx(
            (one["length_m"] - one["model_m"]["value"]) / unit_m, abs=0.5 * 10**-places + 1e-9
        )
        assert e_n == pytest.approx(one["e_n"], abs=0.005 + 1e-9)
    assert [one["verdict"] for one in content["readings"]] == ["agree", "conflict", "agree"]
    again, sha256 = report.tape_from_json(content, file="tape.json")
    assert sha256 == "0" * 64
    assert [one.reading for one in again.results] == [one.reading for one in check.results]


@pytest.mark.parametrize("metric", [False, True])
def test_the_page_of_another_list_has_the_numbers_of_compare_json(metric):
    comparison, theirs = compared()
    content = json.loads(report.json_bytes(report.compare_json(comparison, theirs, exposure_m=0.143)))
    shown = text_of(pdf(comparison=comparison, metric=metric))
    factor = {
        "sq": (9.290304, "m²") if metric else (1.0, "sq"),
        "lf": (FOOT_M, "m") if metric else (1.0, "lf"),
    }
    for one in content["lines"]:
        unit, name = factor[one["unit"]]
        row = re.search(rf" {one['item']} {one['ours']} ([\d,.]+) {name} ([\d,.]+) {name} ± ", shown)
        assert row, (one["item"], shown[shown.find("Another list") :][:900])
        their, mine = (float(value.replace(",", "")) for value in row.groups())
        assert their == pytest.approx(one["theirs"] * unit, abs=0.051)
        assert mine == pytest.approx(one["net"]["value"] * unit, abs=0.051)
    assert "the area in plan was taken for the area on the slope" in shown
    lines, left_out, exposure = report.listed_from_json(content, file="compare.json")
    assert lines == tuple(theirs) and left_out == () and exposure == 0.143


def test_any_text_of_a_table_is_shown_as_text():
    readings = [reading("e1", 15.25, where=text, of=text) for text in TEXTS]
    check = dispute.check_tape(ROOF, readings)
    comparison, theirs = compared()
    lines = (type(theirs[0])(**{**_fields(theirs[0]), "item": TEXTS[0]}), *theirs[1:])
    comparison = dispute.compare(ROOF, lines, OURS, left_out=TEXTS)
    shown = text_of(pdf(tape=check, comparison=comparison))
    for text in TEXTS:
        word = (re.findall(r"[A-Za-z0-9]{3,}", plain_text(text)) or ["the"])[0][:12]
        assert shown.count(word) >= 2, text  # of what was taped, where it was told, what is left out
    for text in (tape_text(check, metric=False, width=80), compare_text(comparison, metric=True, width=80)):
        assert "\x00" not in text and "\u202e" not in text
    json.loads(report.json_bytes(report.tape_json(check, roof_sha256="")))
    json.loads(report.json_bytes(report.compare_json(comparison, lines, exposure_m=0.1)))


def _fields(one):
    return {name: getattr(one, name) for name in type(one).__dataclass_fields__}


def test_photos_stand_on_pages_of_their_own_with_what_they_show():
    index = {
        "format": "slopewright-photos",
        "version": 1,
        "files": [
            {
                "file": "photos/over_1.jpg", "shows": "planes and edges", "photo": "drone.jpg",
                "planes": ["A", "B"],
            },
            {
                "file": "photos/plane_A.jpg", "shows": "plane square on", "planes": ["A"], "px_per_m": 40.0,
                "top": "up the slope", "from": ["drone.jpg"],
            },
            {"file": "photos/gone.jpg", "shows": "plane square on", "planes": ["B"]},
        ],
    }  # fmt: skip
    held = {"photos/over_1.jpg": jpeg(4000, 3000), "photos/plane_A.jpg": jpeg(300, 900)}
    pictures = report.pictures_of(index, held, file="photos/index.json")
    assert [(p.plane, p.planes, p.photo) for p in pictures] == [
        (None, ("A", "B"), "drone.jpg"),
        ("A", ("A",), "drone.jpg"),
    ]
    inputs = tuple(
        report.SourceFile(role="photo", name=f"{n}.jpg", n_bytes=9, sha256="0" * 64) for n in range(3)
    )
    made = pdf(pictures=pictures, metric=True, provenance=report.Provenance(inputs=inputs))
    shown = text_of(made)
    assert "Roof measured from 3 photos." in shown
    assert "drone.jpg: planes A, B with their edges" in shown
    assert "Plane A seen square on, up the slope up, 40 pixels a metre" in shown
    images = [image for page in PdfReader(io.BytesIO(made)).pages for image in page.images]
    sizes = {image.image.size for image in images}
    assert (MOST_PX, MOST_PX * 3 // 4) in sizes and (300, 900) in sizes


def test_a_picture_that_is_none_is_refused_by_name():
    with pytest.raises(InputError, match=r"over_1\.jpg: no picture"):
        as_svg(b"not a picture", name="photos/over_1.jpg")


@pytest.mark.parametrize(
    ("changed", "message"),
    [({"format": "x"}, "format is 'x'"), ({"version": 2}, "version is 2"), ({"files": 3}, "files is 3")],
)
def test_an_index_of_another_kind_is_refused(changed, message):
    index = {"format": "slopewright-photos", "version": 1, "files": []} | changed
    with pytest.raises(InputError, match=message):
        report.pictures_of(index, {}, file="photos/index.json")


def _schema(name):
    return json.loads(files("slopewright.report").joinpath("schemas", f"{name}.schema.json").read_bytes())


def test_the_files_are_as_their_schemas_have_them():
    """Oracle: JSON Schema 2020-12, by jsonschema."""
    comparison, theirs = compared()
    courses = takeoff.lay_out(ROOF, system(), TakeoffRequest())
    contents = {
        "tape": report.tape_json(checked(), roof_sha256="0" * 64),
        "compare": report.compare_json(comparison, theirs, exposure_m=0.143),
        "layout": takeoff.layout_files(courses, system="composition-laminated")[0],
    }
    for name, content in contents.items():
        jsonschema.Draft202012Validator.check_schema(_schema(name))
        jsonschema.validate(json.loads(report.json_bytes(content)), _schema(name))
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({**content, "version": 2}, _schema(name))


def test_the_layout_says_what_the_line_of_the_field_says():
    """Oracle: the sentence in takeoff.json, against layout.json's own numbers."""
    courses = takeoff.lay_out(ROOF, system(), TakeoffRequest())
    content, _ = takeoff.layout_files(courses, system="composition-laminated")
    rule = line(TAKEN, "field shingles").rule
    modules = dict(zip(content["policies"], content["modules"], strict=True))
    said = [int(number) for number in re.findall(r"\((\d+) modules\)", rule)]
    assert said == [modules["pooled"], modules["none"]]
    pieces = sum(len(plane["pieces"]) for plane in content["planes"])
    cut = sum(plane["cut"] for plane in content["planes"])
    assert f"{pieces} pieces of which {cut} cut" in rule
    area = sum(plane["area_m2"] for plane in content["planes"])
    assert area == pytest.approx(sum(plane.area.value for plane in ROOF.planes))
