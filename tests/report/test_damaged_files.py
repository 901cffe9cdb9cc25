"""Any single damage to a result file is refused in one line or harmless, never a traceback."""

import copy

from hypothesis import given, settings
from hypothesis import strategies as st

from report import hand_roofs
from report.hand_takeoff import takeoff
from slopewright import report
from slopewright.errors import InputError

ROOF = hand_roofs.gable_with_hole()
ROOF_JSON = report.roof_json(ROOF)
JOINT_JSON = report.covariance_json(ROOF.joint)
TAKEOFF_JSON = report.takeoff_json(takeoff())
JUNK = (
    None,
    True,
    "",
    "x",
    "\ud800",
    -1,
    0,
    0.5,
    10**400,
    1e308,
    -1e308,
    float("nan"),
    float("inf"),
    [],
    {},
    [[]],
)


def places(content, path=()):
    """Every place of a JSON document."""
    children = (
        content.items()
        if isinstance(content, dict)
        else enumerate(content)
        if isinstance(content, list)
        else ()
    )
    for key, child in children:
        yield (*path, key)
        yield from places(child, (*path, key))


@st.composite
def damage(draw, content):
    """The document with one value replaced, or one member or element taken out."""
    damaged = copy.deepcopy(content)
    *path, key = draw(st.sampled_from(list(places(content))))
    holder = damaged
    for step in path:
        holder = holder[step]
    if draw(st.booleans()):
        holder[key] = draw(st.sampled_from(JUNK))
    else:
        del holder[key]
    return damaged


def one_line_or_fine(read):
    try:
        read()
    except InputError as error:
        assert "\n" not in str(error) and ".json" in str(error)


@settings(max_examples=400, deadline=None)
@given(content=damage(ROOF_JSON))
def test_a_damaged_roof_json(content):
    one_line_or_fine(lambda: report.roof_from_json(content, file="roof.json"))


@settings(max_examples=200, deadline=None)
@given(content=damage(JOINT_JSON))
def test_a_damaged_covariance_json(content):
    one_line_or_fine(
        lambda: report.roof_from_json(
            ROOF_JSON, file="roof.json", covariance=content, covariance_file="covariance.json"
        )
    )


@settings(max_examples=200, deadline=None)
@given(content=damage(TAKEOFF_JSON))
def test_a_damaged_takeoff_json(content):
    one_line_or_fine(lambda: report.takeoff_from_json(content, file="takeoff.json"))
