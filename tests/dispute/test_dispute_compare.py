"""Another party's list against a roof built by hand: what is within bounds, and which mistake is named.

Oracles: plane geometry of gables and hips (areas, lengths in closed form), the slope factors of NAVEDTRA
14044, and the mistake that the test itself makes.
"""

import math

import pytest

from slopewright import dispute
from slopewright.errors import InputError
from takeoff.takeoff_roofs import gable, hip, take

HIP = hip(50, 30, 7, scale_u=0.001, corner_u_m=0.015)
TAKEN = take(HIP)
OURS = dispute.our_quantities(HIP, TAKEN)
FACTOR = math.hypot(1, 7 / 12)
AREA = 50 * 30 * FACTOR / 100  # squares: a hip roof has the area of its plan times the slope factor
RIDGE, HIPS = 20.0, 4 * 15 * math.sqrt(2 + (7 / 12) ** 2)
RIGHT = {"roof area": AREA, "shingles off, first layer": AREA, "eave": 160.0, "ridge": RIDGE, "hip": HIPS}


def listed(quantities, names=None, ours=OURS):
    rows = "".join(
        f'"{name}",{value:.2f},{"sq" if ours_of(name, names, ours).unit == "sq" else "lf"}\n'
        for name, value in quantities.items()
    )
    return ("item,quantity,unit\n" + rows).encode()


def ours_of(name, names, ours):
    return ours[(names or {}).get(name, name)]


def compare(quantities, roof=HIP, ours=OURS):
    theirs, left_out = dispute.read_other(
        listed(quantities, ours=ours), file="other.csv", ours=ours, names={}
    )
    return dispute.compare(roof, theirs, ours, left_out=left_out)


def test_a_list_that_is_right_is_within_bounds_and_needs_no_mistake():
    found = compare(RIGHT)
    assert all(line.within for line in found.lines)
    assert found.causes[0].kind == "none" and found.causes[0].odds > 0.8
    assert all(line.chance_more == pytest.approx(0.5, abs=0.1) for line in found.lines)


@pytest.mark.parametrize(
    ("kind", "changed"),
    [
        ("plan_for_slope", {"roof area": 15.0, "shingles off, first layer": 15.0}),
        ("waste_percentage", {"roof area": 1.15 * AREA, "shingles off, first layer": 1.15 * AREA}),
        ("ridge_with_hip", {"ridge": RIDGE + HIPS, "hip": 0.0}),
        (
            "wrong_pitch",  # 10 in 12
            {
                "roof area": 15 * math.hypot(1, 10 / 12),
                "shingles off, first layer": 15 * math.hypot(1, 10 / 12),
                "hip": 60 * math.sqrt(2 + (10 / 12) ** 2),
            },
        ),
        ("scale", {n: v * (1.04**2 if v == AREA else 1.04) for n, v in RIGHT.items()}),
        ("missed_face", {"roof area": 0.85 * AREA, "shingles off, first layer": 0.85 * AREA, "eave": 130.0}),
        ("missed_edge", {"eave": 110.0}),
    ],
)  # fmt: skip
def test_the_mistake_that_was_made_is_named_first(kind, changed):
    """One hip end of the plan of 50 x 30 ft has 15 % of the area: 30 x 15 / 2 of 1,500 square feet."""
    found = compare(RIGHT | changed)
    assert found.causes[0].kind == kind, found.causes
    assert sum(cause.odds for cause in found.causes) == pytest.approx(1.0, abs=0.1)
    if kind == "missed_face":
        assert set(found.causes[0].about) == {"B", "D"}  # the two hip ends look alike
    if kind == "missed_edge":
        assert set(found.causes[0].about) == {"e1", "e3"}  # the two eaves of 50 ft


def test_a_starter_counted_in_the_field_is_named_where_it_has_no_line():
    """Oracle: 160 ft of eaves at an exposure of 5 5/8 in are 75 square feet; corners known to 3 mm."""
    roof = hip(50, 30, 7, corner_u_m=0.003)
    ours = dispute.our_quantities(roof, take(roof))
    found = compare(RIGHT | {"field shingles": AREA + 1.6 * 5.625 / 12}, roof, ours)
    assert "starter_in_field" in [cause.kind for cause in found.causes[:2]]


def test_a_line_that_is_wrong_by_itself_is_named():
    found = compare(RIGHT | {"hip": 250.0})
    assert found.causes[0].kind == "none" and "hip differ" in found.causes[0].text
    assert [line.ours for line in found.lines if not line.within] == ["hip"]


def test_counts_are_held_against_counts():
    roof = gable(40, 15, 6)
    ours = dispute.our_quantities(roof, take(roof, counts={"pipe_boots": 3}))
    table = b"item;quantity;unit\npipe boots;2;ea\nPIPE BOOTS OFF;3;each\n"
    theirs, _ = dispute.read_other(table, file="o.csv", ours=ours, names={})
    first, second = dispute.compare(roof, theirs, ours).lines
    assert not first.within and first.difference == -1
    assert second.within


def test_packages_are_held_against_the_order():
    order = OURS["field shingles"].order
    table = f"item,quantity,unit\nfield shingles,{order.quantity},bundles\n".encode()
    theirs, _ = dispute.read_other(table, file="o.csv", ours=OURS, names={})
    (line,) = dispute.compare(HIP, theirs, OURS).lines
    assert line.basis == "order" and line.within and line.difference == 0


@pytest.mark.parametrize(
    ("unit", "quantity"),
    [("sf", "1736.59"), ("SQ FT", "1,736.59"), ("m2", "161.33"), ("m²", "161,33"), ("squares", "17.37")],
)
def test_units_are_converted(unit, quantity):
    """Oracle: 1,500 ft² of plan at 7 in 12 are 1,736.6 ft² (slope factor 1.1577), 161.33 m²."""
    table = f'item;quantity;unit\nroof area;"{quantity}";{unit}\n'.encode()
    ((line,), _) = dispute.read_other(table, file="o.csv", ours=OURS, names={})
    assert line.quantity == pytest.approx(17.366, abs=0.005)


def test_wording_is_mapped_and_ignored_as_the_file_says():
    mapping = b'[items]\n"Tear off, 1 layer" = "Shingles off, first layer"\nPermit = "ignore"\n'
    names = dispute.read_names(mapping, file="map.toml", ours=OURS)
    table = b'item,quantity,unit\n"TEAR OFF, 1 layer",17.4,sq\npermit,1,ea\nEaves,160,lf\n'
    theirs, left_out = dispute.read_other(table, file="o.csv", ours=OURS, names=names)
    assert [line.ours for line in theirs] == ["shingles off, first layer", "eave"]
    assert left_out == ("permit",)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no record"),
        ("item,quantity\nridge,3\n", "line 1: heading 'unit' is missing"),
        ("item,quantity,unit\nfoo,3,lf\n", "line 2: item 'foo' maps to nothing of ours"),
        (
            "item,quantity,unit\nridge,3,lf\nRidge,4,lf\n",
            "line 3: item 'Ridge' is our 'ridge' as other.csv line 2",
        ),
        ("item,quantity,unit\nridge,-3,lf\n", "line 2: quantity '-3'"),
        ("item,quantity,unit\nridge,,lf\n", "line 2: quantity ''"),
        ("item,quantity,unit\nridge,nan,lf\n", "line 2: quantity 'nan'"),
        ("item,quantity,unit\nridge,1e9,lf\n", "line 2: quantity '1e9'"),
        ("item,quantity,unit\nridge,99999999,lf\n", "beyond any house"),
        ('item,quantity,unit\nridge,"1,250",lf\n', "the comma can set off thousands or decimals"),
        ("item,quantity,unit\nridge,3,cubits\n", "line 2: unit 'cubits'"),
        ("item,quantity,unit\nridge,3,sq\n", "line 2: unit 'sq' is not that of our 'ridge', need lf"),
        ("item,quantity,unit\nfield shingles,3,rolls\n", "need sq or bundle"),
    ],
)
def test_a_fault_in_the_list_is_named_with_its_line(text, message):
    with pytest.raises(InputError, match=r"^other\.csv") as error:
        dispute.read_other(text.encode(), file="other.csv", ours=OURS, names={})
    assert message in str(error.value)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[items", "not valid TOML"),
        ("[words]\na = 'ridge'\n", "table 'words', need [items]"),
        ("", "no table [items]"),
        ("[items]\na = 'no such thing'\n", "'no such thing' is not ours"),
        ("[items]\na = 3\n", "'3' is not ours"),
    ],
)
def test_a_fault_in_the_mapping_is_named(text, message):
    with pytest.raises(InputError, match=r"^map\.toml") as error:
        dispute.read_names(text.encode(), file="map.toml", ours=OURS)
    assert message in str(error.value)


def test_a_list_of_which_everything_is_ignored_is_refused():
    with pytest.raises(InputError, match="every item is ignored"):
        dispute.read_other(
            b"item,quantity,unit\nfee,1,ea\n", file="o.csv", ours=OURS, names={"fee": "ignore"}
        )
