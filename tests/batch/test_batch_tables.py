"""results.csv, results.parquet and the page, of rows put together by hand."""

import csv
import dataclasses
import io
import json
import re
from html.parser import HTMLParser

import pyarrow.parquet as pq
import pyproj
import pytest
import shapely
from batch_rows import row

from slopewright.batch import Status, read_gates
from slopewright.batch.page import summary_page
from slopewright.batch.tables import results_csv, results_parquet

HOSTILE = '=1+1"><script>alert(1)</script>&\u202e\n'
SQUARE = shapely.box(512000, 5400000, 512010, 5400008)


def placed(identity, crs="EPSG:25832", shape=SQUARE):
    return row(identity, crs=crs, outline=shapely.to_wkb(shape, hex=True))


def test_the_table_has_a_line_a_roof_with_plain_numbers_and_no_formula():
    rows = [row(), row(HOSTILE, status=Status.REFUSED, reason="-x", values={})]
    lines = list(csv.DictReader(io.StringIO(results_csv(rows, [(), ("not measured",)]).decode(), newline="")))
    assert lines[0]["area_m2"] == "100" and lines[0]["gate"] == "pass" and lines[0]["run"] == "runs/a"
    assert lines[1]["id"].startswith("'=1+1") and lines[1]["reason"] == "'-x" and lines[1]["run"] == ""
    assert lines[1]["area_m2"] == "" and lines[1]["gate"] == "look"


def test_geoparquet_holds_the_outlines_in_the_grid_that_they_have_in_common():
    """Oracle: pyarrow reads the table, shapely the geometry, pyproj the PROJJSON (GeoParquet 1.1.0)."""
    data = results_parquet([placed("a"), row("b")], [(), ()])
    table = pq.read_table(io.BytesIO(data))
    geo = json.loads(table.schema.metadata[b"geo"])
    assert geo["version"] == "1.1.0" and geo["columns"]["geometry"]["geometry_types"] == ["Polygon"]
    assert pyproj.CRS.from_json_dict(geo["columns"]["geometry"]["crs"]).to_epsg() == 25832
    first, second = table.column("geometry").to_pylist()
    assert shapely.from_wkb(first).equals(SQUARE) and second is None
    assert table.column("area_m2").to_pylist() == [100.0, 100.0]
    assert data == results_parquet([placed("a"), row("b")], [(), ()])


def test_outlines_of_two_grids_are_brought_to_degrees():
    """Oracle: the same place in UTM zones 32 and 33, by pyproj; a ten-thousandth of a second is 3 mm."""
    way = pyproj.Transformer.from_crs(25832, 25833, always_xy=True)
    other = shapely.transform(SQUARE, lambda x, y: way.transform(x, y), interleaved=False)
    table = pq.read_table(
        io.BytesIO(results_parquet([placed("a"), placed("b", "EPSG:25833", other)], [(), ()]))
    )
    geo = json.loads(table.schema.metadata[b"geo"])["columns"]["geometry"]
    first, second = (shapely.from_wkb(wkb) for wkb in table.column("geometry").to_pylist())
    assert geo["crs"]["id"] == {"authority": "OGC", "code": "CRS84"}
    assert (
        first.hausdorff_distance(second) < 3e-8 and 9 < first.centroid.x < 9.3 and 48 < first.centroid.y < 49
    )


def test_no_grid_is_said_to_be_none():
    geo = json.loads(pq.read_table(io.BytesIO(results_parquet([row()], [()]))).schema.metadata[b"geo"])
    assert geo["columns"]["geometry"]["crs"] is None


class Page(HTMLParser):
    """Row heads, links, headings and elements of a page, in order."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.links, self.texts, self.headings = [], [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [value for name, value in attrs if name in ("href", "src")]
        if tag.startswith("h") and tag[1:].isdigit():
            self.headings.append(int(tag[1:]))

    def handle_data(self, data):
        self.texts.append((self.tags[-1] if self.tags else "", data))


@pytest.fixture
def page():
    wide = row("wide")
    wide = dataclasses.replace(wide, values=wide.values | {"area_low_m2": 80.0, "area_high_m2": 120.0})
    rows = [
        row("good"),
        wide,
        row(HOSTILE, status=Status.CRASHED, reason=HOSTILE, values={}),
        row("unsure", status=Status.NOT_CERTIFIED),
    ]
    gates = read_gates(None)
    return summary_page(rows, [gates.stopped_by(r) for r in rows], gates).decode()


def test_what_needs_a_look_stands_before_what_does_not(page):
    places = [page.index(f">{name}</th>") for name in ("unsure", "wide", "good")]
    assert page.index("crashed") < places[0] and places == sorted(places)


def test_text_of_others_is_shown_and_never_run(page):
    parsed = Page(page)
    assert "script" not in parsed.tags and "&lt;script&gt;" in page and "\u202e" not in page
    assert not [link for link in parsed.links if re.match(r"\w+:|//", link)], "nothing from elsewhere"
    assert "default-src 'none'" in page


def test_the_page_has_a_language_a_title_headings_in_order_and_named_tables(page):
    """Oracle: WCAG 2.2, 2.4.2, 3.1.1, 1.3.1: title, language, no gap in the headings, cells with scope."""
    parsed = Page(page)
    assert '<html lang="en">' in page and "<title>4 roofs" in page
    assert parsed.headings[0] == 1 and all(
        b - a <= 1 for a, b in zip(parsed.headings, parsed.headings[1:], strict=False)
    )
    assert page.count("<caption>") == 3 and page.count("<th") == page.count('<th scope="') + page.count(
        "<thead"
    )
