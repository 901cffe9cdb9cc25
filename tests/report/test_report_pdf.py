"""report.pdf read back by another program's reader: numbers, hostile text, tags, size, repeatability."""

import io
import json
import re
from dataclasses import replace

import pytest
from fontTools.ttLib import TTFont
from pypdf import PdfReader

from report import hand_roofs
from report.hand_takeoff import line, takeoff
from report.hostile_texts import TEXTS
from slopewright import mesh, report
from slopewright.report.printable import FONTS, _coverage, drawable
from slopewright.report.text import plain_text
from slopewright.roof import Order, Takeoff
from slopewright.scene import Notice
from slopewright.units import FOOT_M

MOST_BYTES = 5_000_000  # of a report without photos, as its brief has it
INCH_PT = 72.0


def made(roof, quantities=None, *, metric=False, title="A job", provenance=None):
    quantities = takeoff() if quantities is None else quantities
    files = report.run(roof, quantities, mesh.run(roof), title=title, metric=metric, provenance=provenance)
    return files["report.pdf"]


def text_of(pdf):
    """All text, spaces of any kind as one; places where a line may break are no characters."""
    pages = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).replace("\u200b", "").split())


def squeezed(text):
    """Without any space: readers differ on where a line's end is one."""
    return re.sub(r"[\s\u200b\u00a0]", "", text)


@pytest.fixture(scope="module", params=[False, True], ids=["imperial", "metric"])
def case(request):
    roof = hand_roofs.cross_gable(observed={"B": 0.3, "e2": 0.1})
    return roof, request.param, made(roof, metric=request.param)


def test_areas_and_lengths_are_those_of_roof_json(case):
    """Oracle: roof.json, converted by the exact foot and rounded as many decimals as the page has."""
    roof, metric, pdf = case
    content = json.loads(report.json_bytes(report.roof_json(roof)))
    shown = text_of(pdf)
    length_m, length_name = (1.0, "m") if metric else (FOOT_M, "ft")
    area_m2, area_name = (1.0, "m²") if metric else (FOOT_M**2, "sq ft")
    for plane in content["planes"]:
        row = re.search(
            rf" {plane['id']} [\d.]+ in 12 ([\d.]+)° ± [\d.]+° \w+, (\d+)° ([\d,.]+) {area_name} ± ([\d,.]+)",
            shown,
        )
        assert row, plane["id"]
        pitch, azimuth, area, half = (float(v.replace(",", "")) for v in row.groups())
        step = 0.1 if metric else 1.0
        assert area == pytest.approx(plane["area"]["value"] / area_m2, abs=0.5001 * step)
        bound = (plane["area"]["high"] - plane["area"]["low"]) / 2 / area_m2
        assert 0.99 * bound <= half <= bound + step
        assert pitch == pytest.approx(plane["pitch_deg"]["value"], abs=0.0501)
        assert azimuth % 360 == pytest.approx(plane["azimuth_deg"]["value"] % 360, abs=0.501)
    for edge in content["edges"]:
        row = re.search(rf" {edge['id']} ([\d,.]+) {length_name} (?:± ([\d.]+)|\()", shown)
        assert row, edge["id"]
        assert float(row[1].replace(",", "")) == pytest.approx(
            edge["length"]["value"] / length_m, abs=0.0501 if not metric else 0.00501
        )


def test_areas_and_lengths_stand_there_in_the_other_units_too(case):
    """Oracle: roof.json, converted by the exact foot."""
    roof, metric, pdf = case
    content = json.loads(report.json_bytes(report.roof_json(roof)))
    area_m2, area, length_m, length = (FOOT_M**2, "sq ft", FOOT_M, "ft") if metric else (1.0, "m²", 1.0, "m")
    told = text_of(pdf).partition("The same in " + ("feet" if metric else "metres"))[2]
    for plane in content["planes"]:
        shown = re.search(rf" {plane['id']}: ([\d,.]+) {area} ", told)
        near = pytest.approx(plane["area"]["value"] / area_m2, abs=0.501 if metric else 0.0501)
        assert float(shown[1].replace(",", "")) == near
    for edge in content["edges"]:
        shown = re.search(rf" {edge['id']}: ([\d,.]+) {length} ", told)
        near = pytest.approx(edge["length"]["value"] / length_m, abs=0.0501 if metric else 0.00501)
        assert float(shown[1].replace(",", "")) == near


def test_quantities_are_those_of_takeoff_json(case):
    """Oracle: takeoff.json; NIST SP 811, appendix B: feet, pounds and cubic yards in SI units."""
    _, metric, pdf = case
    shown = text_of(pdf)
    metric_units = {
        "sq": (9.290304, "m²"),
        "lf": (0.3048, "m"),
        "lb": (0.45359237, "kg"),
        "yd3": (0.7645549, "m³"),
    }
    for row in json.loads(report.json_bytes(report.takeoff_json(takeoff())))["lines"]:
        factor, unit = metric_units.get(row["unit"], (1.0, row["unit"])) if metric else (1.0, row["unit"])
        found = re.findall(rf"{re.escape(row['item'])} ([\d,.]+) {unit} (?:±|\()", shown)
        values = [float(v.replace(",", "")) for v in found]
        assert any(v == pytest.approx(row["net"]["value"] * factor, rel=0.01, abs=0.51) for v in values), row
        if row["order"]:
            assert f"{row['order']['quantity']:,} {row['order']['unit']}" in shown


def test_first_page_answers_the_three_questions(case):
    """Oracle: DESIGN section 10: how much, how sure, what was not seen, on the first page."""
    roof, metric, pdf = case
    first = " ".join(PdfReader(io.BytesIO(pdf)).pages[0].extract_text().split())
    total = f"{roof.area.value:,.1f} m²" if metric else f"{roof.area.value / (100 * FOOT_M**2):.2f} squares"
    assert total in first
    share = roof.area.half_width / roof.area.value
    assert f"± {100 * share:.2g} %" in first
    assert "What was not seen" in first and "B (30 % seen)" in first and "e2" in first
    assert "of the edges' length; that part is inferred" in first.replace("’", "'")
    assert first.index("How much") < first.index("How sure") < first.index("What was not seen")


def test_pages_are_letter_or_a4_and_the_plan_keeps_its_scale(case):
    """Oracle: Letter is 8.5 x 11 in, A4 210 x 297 mm (ISO 216); the plan's page is the drawing's own size."""
    roof, metric, pdf = case
    pages = PdfReader(io.BytesIO(pdf)).pages
    paper = (210 / 25.4 * INCH_PT, 297 / 25.4 * INCH_PT) if metric else (8.5 * INCH_PT, 11 * INCH_PT)
    sizes = [tuple(float(v) for v in page.mediabox[2:]) for page in pages]
    assert sizes[0] == pytest.approx(paper, abs=0.1)
    svg = report.plan_svg(roof, title="A job", metric=metric)
    drawn = [
        float(re.search(rf'{side}="([\d.]+)mm"', svg)[1]) / 25.4 * INCH_PT for side in ("width", "height")
    ]
    assert sizes[1] == pytest.approx(drawn, abs=0.1)


def test_it_is_tagged_with_language_title_and_alternatives(case):
    """Oracle: ISO 14289-1 (PDF/UA-1) 7.1 to 7.3: marked, titled, a language, figures described."""
    _, _, pdf = case
    reader = PdfReader(io.BytesIO(pdf))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] is True or bool(root["/MarkInfo"]["/Marked"])
    assert root["/Lang"].startswith("en")
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"pdfuaid" in root["/Metadata"].get_data()

    def figures(node):
        kids = node.get("/K", [])
        for kid in kids if isinstance(kids, list) else [kids]:
            kid = kid.get_object()
            if isinstance(kid, dict):
                if kid.get("/S") == "/Figure":
                    yield kid
                yield from figures(kid)

    found = list(figures(root["/StructTreeRoot"]))
    assert len(found) == 3 + 4  # overview, view, plan, and a true shape for each of four planes
    assert all(figure.get("/Alt") for figure in found)


def test_it_is_small_and_the_same_twice(case):
    """Oracle: definition."""
    roof, metric, pdf = case
    assert len(pdf) < MOST_BYTES
    assert made(roof, metric=metric) == pdf
    assert b"/CreationDate" not in pdf


def test_no_page_ends_between_a_quantity_and_its_reason():
    """Oracle: the pages on which a reader finds each of many items, and the rule below it."""
    lines = tuple(line(f"item-{i:03}", "install", "sq", 9.0, rule=f"rule-{i:03} " * 20) for i in range(60))
    pdf = made(hand_roofs.gable(), replace(takeoff(), lines=lines))
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]
    told = [set(re.findall(r"item-(\d+)", page)) for page in pages]
    assert sum(map(bool, told)) > 2
    assert told == [set(re.findall(r"rule-(\d+)", page)) for page in pages]


def test_a_warning_that_names_its_planes_does_not_name_them_twice():
    """Oracle: definition."""
    roof = replace(
        hand_roofs.gable(),
        notices=(
            Notice(code="a", text="check A, B", about=("A", "B")),
            Notice(code="b", text="bowed", about=("A", "B")),
        ),
    )
    shown = text_of(made(roof))
    assert "check A, B (" not in shown
    assert "bowed (A, B)" in shown


@pytest.mark.parametrize("hostile", TEXTS)
def test_any_text_is_shown_as_text(hostile):
    """Oracle: what was put in comes out, by another reader; what no font has is told by its code point."""
    roof = hand_roofs.gable(notices=(Notice(code="x", text=hostile, about=(hostile,)),))
    made_line = replace(
        line(hostile, "install", "ea", 1.0, 0.0, Order(quantity=1, unit=hostile, chance_short=0.0)),
        rule=hostile, source=hostile, origin=(hostile,),
    )  # fmt: skip
    origin = report.Provenance(
        version="1",
        inputs=(report.SourceFile(role="cloud", name=hostile, n_bytes=1, sha256="0" * 64),),
        options={"unit": hostile},
        not_certified=(hostile,),
    )
    pdf = made(
        roof, Takeoff(system=hostile, lines=(made_line,), classes=()), title=hostile, provenance=origin
    )
    shown = squeezed(text_of(pdf))
    expected = squeezed(drawable(plain_text(hostile)))
    if any("\u0590" <= c <= "\u06ff" for c in hostile):  # readers order right-to-left text each in its way
        assert sorted(set(expected)) == sorted(set(expected) & set(shown + shown[::-1]))
    else:
        assert shown.count(expected[:100]) >= 5
    reader = PdfReader(io.BytesIO(pdf))
    assert reader.metadata.title


def test_a_long_name_leaves_the_numbers_of_its_plane_on_one_line():
    """Oracle: definition; a number that is wrapped has the end of a line in it."""
    roof = hand_roofs.gable(name_planes=["x" * 300, "B"])
    plan = [f"{plane.plan_area.value / FOOT_M**2:,.0f} sq ft ±" for plane in roof.planes]
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(made(roof))).pages]
    table = next(page for page in pages if "area in plan" in page)
    assert all(number in table for number in plan)


def test_characters_that_no_font_has_are_named():
    """Oracle: Unicode code charts: U+1F3E0 house building, U+5C4B roof; the Latin letters stay."""
    assert drawable("a 🏠屋") == "a [U+1F3E0][U+5C4B]"


def test_the_table_of_characters_is_that_of_the_fonts():
    """Oracle: fontTools reads the character maps of the fonts that are shipped."""
    covered = set()
    for name in ("OpenSans-Regular.ttf", "DejaVuSans.ttf"):
        covered |= set(TTFont(FONTS / name).getBestCmap())
    assert set(TTFont(FONTS / "OpenSans-Bold.ttf").getBestCmap()) <= covered
    told = {code for first, last in zip(*_coverage(), strict=True) for code in range(first, last + 1)}
    assert told == covered
