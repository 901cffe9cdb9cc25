"""plan.svg read back: scale, numbers, places, and that no text covers another."""

import math
import re
from functools import lru_cache
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextToPath

from report import hand_roofs
from report.test_roof_file import HOSTILE
from slopewright import report
from slopewright.report.plan.strokes import STROKES
from slopewright.scene import EdgeKind

SVG = "{http://www.w3.org/2000/svg}"
CASES = [(name, metric) for name in hand_roofs.ALL for metric in (False, True)]
IN_FONT = {ord(c): "x" for c in "½±°²…×\ufffd"}  # beside ASCII: the font of the check has these
DARK = {"A": 0.3, "e2": 0.1}


def drawn(roof, **more):
    return ET.fromstring(report.plan_svg(roof, **more))


@lru_cache
def case(name, metric):
    """A roof of which some was not seen, and its drawing."""
    roof = hand_roofs.ALL[name](observed=DARK)
    return roof, drawn(roof, title="A job with a name", metric=metric)


def of_class(root, name):
    return [e for e in root.iter() if e.get("class") == name]


def words(node):
    """The text of an element as a reader sees it: white space collapses (SVG 1.1, 10.15)."""
    return " ".join("".join(node.itertext()).split())


def path_points(node):
    return np.array(
        [[float(v) for v in pair] for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", node.get("d"))]
    )


def length_m(shown, *, metric):
    """Read a printed length back."""
    if metric:
        return float(shown)
    feet, inches, half = re.fullmatch(r"(\d+)' (\d+)(½?)\"", shown).groups()
    return (12 * int(feet) + int(inches) + (0.5 if half else 0.0)) * 0.0254


@pytest.mark.parametrize(("name", "metric"), CASES)
def test_every_edge_shows_its_letter_its_length_and_its_id_once(name, metric):
    """Oracle: the roof's own lengths, to half of the last printed digit."""
    roof, root = case(name, metric)
    shown = of_class(root, "length")
    assert sorted(node.get("data-id") for node in shown) == sorted(edge.id for edge in roof.edges)
    edges = {edge.id: edge for edge in roof.edges}
    for node in shown:
        edge = edges[node.get("data-id")]
        text = words(node)
        letter, length = re.search(r"\b([A-Z]) (\(?\d[^e]*?)(?: e\d+)?$", text).groups()
        assert edge.id in text
        assert letter == STROKES[edge.kind].letter
        assert length.startswith("(") == length.endswith(")") == (edge.observed < 0.5)
        slack = 0.00501 if metric else 0.25 * 0.0254 + 1e-9
        assert length_m(length.strip("()"), metric=metric) == pytest.approx(edge.length.value, abs=slack)


@pytest.mark.parametrize(("name", "metric"), CASES)
def test_the_drawing_is_true_to_the_scale_it_states(name, metric):
    """Oracle: distance on paper times the scale is distance in plan; grid north is up, east is right."""
    roof, root = case(name, metric)
    said = int(re.search(r"Scale 1:([\d,]+)", words(of_class(root, "scale")[0]))[1].replace(",", ""))
    assert root.get("width") == root.get("viewBox").split()[2] + "mm"  # a user unit is a millimetre
    for node in of_class(root, "edge"):
        edge = next(e for e in roof.edges if e.id == node.get("data-id"))
        start, end = path_points(of_class(node, "axis")[0])
        plan = (roof.vertices[edge.end] - roof.vertices[edge.start])[:2]
        np.testing.assert_allclose((end - start) * [1, -1] * said / 1000, plan, atol=0.0011 * said / 1000)
    for bar in of_class(root, "scale-bar"):
        unit_m = {"m": 1.0, "ft": 0.3048}[bar.get("data-unit")]
        for box in bar.iter(f"{SVG}rect"):
            on_roof = float(box.get("width")) * said / 1000
            assert on_roof == pytest.approx(float(bar.get("data-step")) * unit_m, abs=0.0006 * said / 1000)


@pytest.mark.parametrize(
    ("scale", "said"),
    [(48, "1/4 in = 1 ft"), (96, "1/8 in = 1 ft"), (192, "1/16 in = 1 ft"), (120, "1 in = 10 ft")],
)
def test_a_scale_in_words_is_the_scale_in_numbers(scale, said):
    """Oracle: a foot is twelve inches."""
    inches, feet = re.fullmatch(r"([\d/]+) in = (\d+) ft", said).groups()
    top, _, bottom = inches.partition("/")
    assert int(feet) * 12 / (int(top) / int(bottom or 1)) == scale
    widths = {48: 8.0, 96: 14.0, 120: 18.0, 192: 30.0}
    root = drawn(hand_roofs.gable(length=widths[scale], width=6.0))
    assert words(of_class(root, "scale")[0]).startswith(f"Scale 1:{scale} ({said})")


@pytest.mark.parametrize(("name", "metric"), CASES)
def test_planes_show_pitch_area_and_the_way_down(name, metric):
    """Oracle: the roof's own numbers; an arrow on the sheet runs as the normal leans."""
    roof, root = case(name, metric)
    rows = {node.get("data-id"): words(node) for node in of_class(root, "plane-row")}
    labels = {node.get("data-id"): node for node in of_class(root, "plane-label")}
    assert set(rows) == set(labels) == {plane.id for plane in roof.planes}
    for plane in roof.planes:
        area, half = re.search(r" ([\d,.]+) ± ([\d,.]+) ", rows[plane.id]).groups()
        unit, step = (1.0, 0.1) if metric else (0.3048**2, 1.0)
        assert float(area.replace(",", "")) == pytest.approx(plane.area.value / unit, abs=step / 2 + 1e-9)
        assert float(half) == pytest.approx(plane.area.half_width / unit, abs=step)
        assert float(half) >= 0.99 * plane.area.half_width / unit
        pitch = f"{plane.pitch_deg.value:.1f}°" if metric else f"{plane.rise_in_12.value:.3g} in 12"
        assert pitch in rows[plane.id]
        assert rows[plane.id].endswith("*") == (plane.observed < 0.5)
        assert words(labels[plane.id]).split()[0] == plane.id
        (arrow,) = of_class(labels[plane.id], "downslope")
        tail, tip = path_points(arrow)
        across = float(np.cross([*(tip - tail) * [1, -1], 0], [*plane.normal[:2], 0])[2])
        assert abs(across) < 0.01 and (tip - tail) * [1, -1] @ plane.normal[:2] > 0


def placed_texts(root):
    """Rectangle of every text, by the widths of a real font (DejaVu Sans) and the text's own transform."""
    measure = TextToPath()
    found = []
    for node in root.iter(f"{SVG}text"):
        parts = [(node.text or "", node)] + [(span.text or "", span) for span in node.iter(f"{SVG}tspan")]
        parts = [(" ".join(s.split()), e) for s, e in parts if s.strip()]
        if not words(node).translate(IN_FONT).isascii():
            continue
        size = float(node.get("font-size"))

        def width(string, element, size=size):
            font = FontProperties(family="DejaVu Sans", weight=element.get("font-weight", "normal"), size=100)
            em = measure.get_text_width_height_descent(string, font, ismath=False)[0] / 100
            return em * float(element.get("font-size", size))

        wide = sum(width(s, e) for s, e in parts) + (len(parts) - 1) * 0.318 * size
        x, y = float(node.get("x")), float(node.get("y"))
        left = {"middle": x - wide / 2, "end": x - wide, None: x}[node.get("text-anchor")]
        box = shapely.box(left, y - 0.73 * size, left + wide, y)  # height of capitals; few letters hang lower
        turn = re.fullmatch(r"rotate\((\S+) (\S+) (\S+)\)", node.get("transform", ""))
        if turn:
            angle, cx, cy = map(float, turn.groups())
            box = shapely.affinity.rotate(box, angle, origin=(cx, cy))  # y down: clockwise on the sheet
        found.append((words(node), box))
    return found


@pytest.mark.parametrize(("name", "metric"), CASES)
def test_no_text_covers_a_text_or_leaves_the_sheet(name, metric):
    """Oracle: glyph widths of a real font, by another library."""
    _, root = case(name, metric)
    texts = placed_texts(root)
    tree = shapely.STRtree([box for _, box in texts])
    overlaps = [
        (texts[i][0], texts[j][0])
        for i, j in zip(*tree.query(tree.geometries, predicate="intersects"), strict=True)
        if i < j
    ]
    assert overlaps == []
    sheet = shapely.box(5, 5, *(float(v) - 5 for v in root.get("viewBox").split()[2:]))
    assert [t for t, box in texts if not sheet.contains(box)] == []


@pytest.mark.parametrize(("name", "metric"), CASES)
def test_no_text_of_the_drawing_crosses_an_edge(name, metric):
    _, root = case(name, metric)
    lines = shapely.MultiLineString([path_points(of_class(n, "axis")[0]) for n in of_class(root, "edge")])
    assert [text for text, box in placed_texts(root) if box.intersects(lines)] == []


def test_the_overlap_check_sees_an_overlap():
    """Guards the check above."""
    root = ET.fromstring(
        '<svg xmlns="http://www.w3.org/2000/svg"><text x="10" y="10" font-size="3">one</text>'
        '<text x="12" y="10" font-size="3" transform="rotate(-90 12 10)">two</text></svg>'
    )
    (_, first), (_, second) = placed_texts(root)
    assert first.intersects(second) and second.bounds[1] < 6


def test_edges_are_told_apart_without_colour():
    """Every kind has its own letter and its own stroke, in one ink."""
    assert set(STROKES) == set(EdgeKind)
    assert len({stroke.letter for stroke in STROKES.values()}) == len(EdgeKind)
    looks = {(s.width_mm, s.dashes, s.double_mm, s.ticks_mm) for s in STROKES.values()}
    assert len(looks) == len(EdgeKind)
    root = drawn(hand_roofs.dormered_hip())
    inks = {p.get("stroke") for n in of_class(root, "edge") for p in n.iter(f"{SVG}path")}
    assert len(inks) == 1
    assert {n.get("data-kind") for n in of_class(root, "kind-row")} == {
        edge.kind for edge in hand_roofs.dormered_hip().edges
    }


def test_what_was_not_seen_is_marked():
    root = drawn(hand_roofs.hip(observed=DARK))
    marked = [n.get("data-id") for n in of_class(root, "edge") if n.find(f"{SVG}circle") is not None]
    hatched = [
        n.get("data-id") for n in of_class(root, "plane") if "url(#inferred)" in [p.get("fill") for p in n]
    ]
    assert (marked, hatched) == (["e2"], ["A"])


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("metric", [False, True])
def test_any_name_is_text_and_stays_on_the_sheet(text, metric):
    roof = hand_roofs.gable(name_planes=[text, "B"], crs=text)
    root = drawn(roof, title=text, metric=metric)
    assert {e.tag for e in root.iter()} <= {
        SVG + tag
        for tag in ("svg", "title", "defs", "pattern", "path", "rect", "circle", "g", "text", "tspan")
    }
    width = float(root.get("viewBox").split()[2])
    for shown, box in placed_texts(root):
        assert box.bounds[2] < width - 5, shown
    title = words(of_class(root, "title")[0])
    assert title.startswith("Roof plan: ") and not re.search("[\x00-\x1f\u202a-\u202e\u2066-\u2069]", title)
    if len(text) < 40 and text.isascii() and text.isprintable():
        assert title == f"Roof plan: {text}"


@pytest.mark.parametrize("length", [1.0, 40.0, 300.0, 5000.0, 90_000.0])
@pytest.mark.parametrize("metric", [False, True])
def test_a_roof_of_any_size_fits_its_sheet(length, metric):
    root = drawn(hand_roofs.gable(length=length, width=length / 2), metric=metric)
    width, height = (float(v) for v in root.get("viewBox").split()[2:])
    for node in of_class(root, "edge"):
        points = path_points(of_class(node, "axis")[0])
        assert points.min() > 5 and (points < [width - 60, height - 20]).all()


def test_an_upper_plane_is_drawn_over_a_lower_one():
    roof = hand_roofs.two_level()
    order = [node.get("data-id") for node in of_class(drawn(roof), "plane")]
    assert order.index("C") < order.index("A")


def test_an_object_stands_in_its_place_with_its_name():
    """Oracle: the chimney fills the hole it was given in plane A, 1.2 m across and 1.0 m in plan."""
    roof = hand_roofs.gable_with_hole()
    root = drawn(roof)
    (made,) = of_class(root, "object")
    assert words(made) == "o1 chimney"
    box = path_points(made.find(f"{SVG}path"))
    mm = 1000 / int(root.get("data-scale"))
    np.testing.assert_allclose(np.ptp(box, axis=0) / mm, [1.2, 1.1 * 2 / math.sqrt(5)], atol=0.02)
    (eave,) = (node for node in of_class(root, "edge") if node.get("data-id") == "e1")
    south_west = path_points(of_class(eave, "axis")[0])[0]  # where e1 starts, at (0, 0)
    np.testing.assert_allclose((box.mean(axis=0) - south_west) / mm, [5.6, -2.0], atol=0.02)


def test_a_level_roof_has_no_arrow():
    """Oracle: a plane without slope has no direction of fall."""
    roof = hand_roofs.build([(0, 0, 3), (9, 0, 3), (9, 6, 3), (0, 6, 3)], [[[0, 1, 2, 3]]])
    root = drawn(roof)
    assert of_class(root, "downslope") == []
    assert math.isclose(float(of_class(root, "plane")[0].get("data-area-m2")), 54.0)
