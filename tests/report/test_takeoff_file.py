"""takeoff.json: schema, round trip, refusal."""

import math

import pytest

from report.hand_takeoff import takeoff
from report.test_roof_file import HOSTILE, through_bytes, validate
from slopewright import report
from slopewright.errors import InputError


def test_takeoff_json_keeps_the_schema_and_comes_back_the_same():
    mine = takeoff()
    content = through_bytes(report.takeoff_json(mine))
    validate(content, "takeoff")
    back = report.takeoff_from_json(content, file="takeoff.json")
    assert report.takeoff_json(back) == content
    assert back.lines == mine.lines
    assert math.isinf(back.classes[-1].rise_in_12_to)


@pytest.mark.parametrize("text", HOSTILE)
def test_any_text_comes_back_as_it_went_in(text):
    content = through_bytes(report.takeoff_json(takeoff(text=text)))
    validate(content, "takeoff")
    line = report.takeoff_from_json(content, file="takeoff.json").lines[0]
    assert line.item == line.rule == line.source == line.origin[0] == text


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda c: c.update(format="slopewright-roof"), r"takeoff\.json: format is 'slopewright-roof'"),
        (lambda c: c["lines"][1].update(unit="m"), r'lines\[1\]\.unit is "m", need one of'),
        (lambda c: c["lines"][1].pop("from"), r"lines\[1\]\.from is missing"),
        (lambda c: c["lines"][0]["order"].update(quantity=-2), r"lines\[0\]\.order\.quantity is -2"),
        (lambda c: c["lines"][0]["order"].update(chance_short=2), r"chance_short is 2"),
        (lambda c: c["classes"][0].update(storeys=0), r"classes\[0\]\.storeys is 0"),
    ],
)
def test_a_wrong_takeoff_json_is_refused_by_file_and_field(change, message):
    content = report.takeoff_json(takeoff())
    change(content)
    with pytest.raises(InputError, match=message):
        report.takeoff_from_json(content, file="takeoff.json")
