"""state.json that was damaged: refused in one line that names the file and the field."""

import copy
import json

import pytest

from adjust.test_ties import adjusted_roof
from slopewright import adjust, report
from slopewright.errors import InputError
from slopewright.state import FixPitch, MoveBoundary

ROOF = adjust.replay(
    adjusted_roof(0.0), (MoveBoundary(edge="e1", by_m=0.1), FixPitch(plane="A", pitch_rad=0.47, u_rad=0.01))
)
CONTENT = json.loads(report.json_bytes(report.state_json(ROOF.state, ROOF.frame)))


def damaged(*path, value):
    content = copy.deepcopy(CONTENT)
    at = content
    for step in path[:-1]:
        at = at[step]
    if value is None:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    return content


@pytest.mark.parametrize(
    ("content", "match"),
    [
        (damaged("format", value="slopewright-roof"), "another kind of file"),
        (damaged("version", value=2), "version is 2"),
        (damaged("planes", 0, "normal", value=[0.0, 0.0, 2.0]), r"planes\[0\].normal"),
        (damaged("planes", 0, "covariance", value=[[1, 0, 0], [0, -1, 0], [0, 0, 1]]), "negative eigenvalue"),
        (damaged("planes", 0, "covariance", 0, 1, value=3.0), "symmetric"),
        (damaged("planes", 0, "cells", value=[[1, 2, 3]]), r"cells\[0\].*need 4 numbers"),
        (damaged("vertices", 0, "curves", 0, value={"boundary": 99}), "need a number below 4"),
        (damaged("vertices", 0, "curves", 0, value={"planes": [1, 0]}), "the lower number first"),
        (damaged("corners", 0, "vertex", value=77), r"corners\[0\].vertex is 77"),
        (damaged("faces", 0, "loops", value=[[0, 1]]), "three corners or more"),
        (damaged("faces", 1, "id", value="A"), "each id once"),
        (damaged("edges", 0, "corners", value=[1, 1]), "two corners"),
        (damaged("edges", value=[]), "one at least"),
        (damaged("doubt", "bleed", value=None), "doubt.bleed is missing"),
        (damaged("journal", 0, "edit", value="paint"), r"journal\[0\].edit"),
        (damaged("journal", 0, "by_m", value="far"), r"journal\[0\].by_m.*need a number"),
        (damaged("journal", 0, "colour", value="red"), r"journal\[0\].colour.*need none"),
        (damaged("journal", 1, "forced", value=1), "true or false"),
        ([], "need"),
    ],
)
def test_a_damaged_state_json(content, match):
    with pytest.raises(InputError, match=match) as caught:
        report.state_from_json(content, file="state.json")
    assert str(caught.value).startswith("state.json: ")
    assert "\n" not in str(caught.value)


def test_every_edit_comes_back_as_it_was():
    """Round trip through bytes."""
    _, _, journal = report.state_from_json(CONTENT, file="state.json")
    assert journal == ROOF.state.journal
