"""The summary: numbers, room, what it must say."""

import re
import unicodedata

import pytest

from report import hand_roofs
from report.hand_takeoff import takeoff
from report.test_roof_file import HOSTILE
from slopewright import report
from slopewright.measurement import Measurement
from slopewright.report.quantity import FEET, SQUARES, bound_decimals, rounded_bound, with_bound
from slopewright.roof import BudgetShare, Takeoff
from slopewright.scene import EdgeKind, Notice


def flat(text):
    return " ".join(text.split())


@pytest.mark.parametrize("name", hand_roofs.ALL)
@pytest.mark.parametrize("metric", [False, True])
def test_the_totals_are_those_of_the_roof(name, metric):
    """Oracle: the roof's own totals and exact unit factors (NIST SP 811)."""
    roof = hand_roofs.ALL[name]()
    text = flat(report.summary_text(roof, takeoff(), metric=metric))
    area_unit, plan_unit, length_unit = (1.0, 1.0, 1.0) if metric else (9.290304, 0.09290304, 0.3048)
    value, half, low, high = re.search(
        r"How much ([\d,.]+) (?:squares|m²) ± ([\d.]+) of roof, 95 % sure between ([\d,.]+) and ([\d,.]+)",
        text,
    ).groups()
    step = 0.1 if metric else 0.01
    for shown, want in ((value, roof.area.value), (low, roof.area.low), (high, roof.area.high)):
        assert float(shown.replace(",", "")) == pytest.approx(want / area_unit, abs=step / 2 + 1e-9)
    assert float(half) == pytest.approx(roof.area.half_width / area_unit, abs=step)
    plan = re.search(r"([\d,.]+) (?:sq ft|m²) ± [\d.]+ in plan", text)[1]
    assert float(plan.replace(",", "")) == pytest.approx(roof.plan_area.value / plan_unit, abs=0.51)
    for kind, total in roof.edge_totals.items():
        if kind not in (EdgeKind.SIDEWALL, EdgeKind.HEADWALL):
            shown = re.search(rf"{str(kind).replace('_', ' ')} ([\d,.]+) (?:ft|m) ±", text)[1]
            assert float(shown.replace(",", "")) == pytest.approx(total.value / length_unit, abs=0.051)


def test_walls_are_added_with_their_correlation():
    """Oracle: GUM 5.2.2, eq. 13, written out: own parts in quadrature, the common scale linearly."""
    roof = hand_roofs.gable_with_hole()
    walls = [e for e in roof.edges if e.kind in (EdgeKind.SIDEWALL, EdgeKind.HEADWALL)]
    total = sum(e.length.value for e in walls)
    u = ((hand_roofs.SCALE_U * total) ** 2 + len(walls) * 0.01**2) ** 0.5
    half = rounded_bound(1.959964 * u, 2)
    assert f"wall {total:.2f} m ± {half:.2f}" in flat(report.summary_text(roof, takeoff(), metric=True))


@pytest.mark.parametrize("text", [None, *HOSTILE])
@pytest.mark.parametrize("metric", [False, True])
@pytest.mark.parametrize("width", [60, 80, 120])
def test_it_fits_a_screen_whatever_it_is_given(text, metric, width):
    """Oracle: at most 40 lines, none wider than asked, no control character (Unicode categories)."""
    notices = tuple(
        Notice(code=f"c{i}", text=(text or "a long warning ") * 9, about=("A",) * 30) for i in range(30)
    )
    dark = {name: 0.1 for name in "ABCDEFGHIJKLMNOP"} | {f"e{i}": 0.1 for i in range(60)}
    budget = (BudgetShare(source=text or "scale", area_share=1.0),)
    roof = hand_roofs.dormered_hip(observed=dark, notices=notices, budget=budget)
    many = takeoff(text=text)
    many = Takeoff(system=many.system, lines=many.lines * 5, classes=many.classes, notices=notices)
    shown = report.summary_text(roof, many, metric=metric, width=width)
    lines = shown.split("\n")
    assert len(lines) <= (40 if width >= 80 else 55)
    assert max(map(len, lines)) <= width
    assert not [c for c in shown if c != "\n" and unicodedata.category(c) in ("Cc", "Cs")]
    assert not re.search("[\u202a-\u202e\u2066-\u2069\u00a0]", shown)


def test_a_plain_house_takes_less_than_24_lines():
    assert len(report.summary_text(hand_roofs.hip(), takeoff()).split("\n")) < 24


@pytest.mark.parametrize(
    ("source", "word"),
    [
        ("scale", "second known length"),
        ("level", "level of the scan"),
        ("boundaries", "longest eave"),
        ("position of eaves, rakes and walls", "longest eave"),
        ("edges that were not seen", "from another side"),
        ("edges of the cloud as a whole", "applies to all"),
        ("pitch of the planes", "level and a rule"),
    ],
)
def test_the_largest_source_of_doubt_comes_with_what_to_do(source, word):
    budget = (BudgetShare(source="scale", area_share=0.2), BudgetShare(source=source, area_share=0.8))
    text = flat(report.summary_text(hand_roofs.hip(budget=budget), takeoff()))
    assert f"80 % of that doubt comes from: {source}. To shrink it: " in text
    assert word in text


def test_an_unknown_source_promises_nothing():
    text = report.summary_text(
        hand_roofs.hip(budget=(BudgetShare(source="weather", area_share=1.0),)), takeoff()
    )
    assert "To shrink it" not in text and "weather" in text


def test_what_was_not_seen_is_named_with_its_share():
    """Oracle: shares weighted by area and by length, written out."""
    roof = hand_roofs.gable(observed={"A": 0.25, "e3": 0.1})
    text = flat(report.summary_text(roof, takeoff()))
    area = (0.75 + 0.03) / 2
    edges = sum((1 - e.observed) * e.length.value for e in roof.edges) / sum(
        e.length.value for e in roof.edges
    )
    assert f"Not seen {100 * area:.0f} % of the area and {100 * edges:.0f} % of the edges' length" in text
    assert "Mostly inferred planes: A (25 % seen)" in text
    assert "Mostly inferred edges, 39 ft in all: e3 ridge" in text


def test_orders_say_packages_need_and_risk():
    text = flat(report.summary_text(hand_roofs.hip(), takeoff()))
    assert "field shingles 98 bundles 28.5 + 2.9 sq 3 %" in text
    assert "starter 3 bundles 210.0 + 4.0 lf < 1 %" in text
    assert "ice barrier (code) 2 rolls" in text
    assert "deck sheets" not in text  # excluded
    assert "Decide debris" in text


def test_warnings_can_be_given_from_the_run():
    notice = Notice(code="unit_assumed", text="heights taken in metres", about=("A",))
    text = report.summary_text(hand_roofs.hip(), takeoff(), notices=[notice])
    assert "heights taken in metres [A]" in text


def test_what_is_true_of_every_run_is_said_last():
    notices = [Notice(code="order_rule", text="whole packages"), *(Notice(code=c, text=c) for c in "abcd")]
    text = flat(report.summary_text(hand_roofs.hip(), takeoff(), notices=notices))
    assert "- a - b - c - d and 1 more in run.json" in text


@pytest.mark.parametrize(("u", "quoted"), [(10.47, 11), (28.05, 28)])
def test_bounds_round_as_the_guide_does(u, quoted):
    """Oracle: JCGM 100:2008, 7.2.6: 10.47 is quoted as 11, 28.05 as 28."""
    assert rounded_bound(u, bound_decimals(u)) == quoted


def test_a_lopsided_bound_is_a_range():
    skew = Measurement(3.048, 0.1, 2.9, 3.5)
    assert with_bound(skew, FEET) == "10.0 ft (9.5 to 11.5)"


def test_a_value_without_doubt_prints():
    assert with_bound(Measurement(9.290304, 0.0, 9.290304, 9.290304), SQUARES) == "1.00 squares ± 0.00"
