"""Tape tables against roofs built by hand, whose every length is known."""

import numpy as np
import pytest

from slopewright import dispute
from slopewright.checks import AGREE, CANNOT_TELL, CONFLICT
from slopewright.errors import InputError
from takeoff.takeoff_roofs import gable, hip

FT = 0.3048
ROOF = hip(
    50, 30, 7, scale_u=0.0005, corner_u_m=0.02
)  # e1..e4 eaves 50, 30, 50, 30; e5..e8 hips; e9 ridge 20


def check(text, roof=ROOF, **more):
    readings = dispute.read_tape(text.encode(), file="tape.csv", roof=roof)
    return dispute.check_tape(roof, readings, **more)


def length_of(name, roof=ROOF):
    return next(edge.length.value for edge in roof.edges if edge.id == name)


def only(text, roof=ROOF, **more):
    (result,) = check(text, roof, **more).results
    return result


def test_readings_of_the_right_lengths_agree():
    """Oracle: the roof's own measures, 50 x 30 ft."""
    found = check("edge;length;unit;how\ne1;50' 0\";;steel tape\ne2;9,144;m;laser\n".replace("9,144", "9,14"))
    assert [one.verdict for one in found.results] == [AGREE, AGREE]
    assert abs(found.scale.value) < 0.002 and not found.scale_conflict


def test_model_of_edges_that_add_up():
    result = only("edge,length,unit\ne1+e3,30.48,m\n")
    assert result.model.value == pytest.approx(100 * FT) and result.verdict == AGREE


@pytest.mark.parametrize(
    ("line", "kind", "about"),
    [
        ("e1,30' 0\",", "wrong_edge", None),  # the 30 ft eave
        ("e5,21' 2 1/2\",", "plan_length", None),  # the hip's plan, 15 sqrt(2) ft (NAVEDTRA 14044: 21.21 ft)
        ("e1,49' 0\",", "miscounted", None),
        ("e1,15.24,ft", "unit", None),
    ],
)
def test_the_likely_slip_is_named_first(line, kind, about):
    """Oracle: the slip that was made in the test."""
    header = "edge,length,unit\n"
    line = line.replace("15.24,ft", "15.24,decimal-ft")
    result = only(header + line + "\n")
    assert result.verdict == CONFLICT
    assert result.causes[0].kind == kind, result.causes


def test_the_wall_is_named_where_the_overhang_is_left_out():
    """Oracle: an eave of 50 ft over a wall of 47 ft has overhangs of 18 in."""
    result = only("edge,length,unit\ne1,47' 0\",\n", overhang_m=0.4572)
    assert result.causes[0].kind == "wall_line"


def test_feet_and_inches_written_as_decimal_feet_are_named():
    """Oracle: 45 ft 9 in written 45.9 ft, on a gable's ridge of 45 ft 9 in known to a few millimetres."""
    roof = gable(45.75, 15, 7, corner_u_m=0.002)
    ridge = next(edge.id for edge in roof.edges if edge.kind == "ridge")
    result = only(f"edge,length,unit,u\n{ridge},45.9,decimal-ft,0.01\n", roof)
    assert result.verdict == CONFLICT and result.causes[0].kind == "foot_inch"


def test_one_scale_for_all_is_named_for_all():
    rows = "".join(f"{e},{1.01 * length_of(e):.3f},m,steel tape\n" for e in ("e1", "e2", "e3", "e5", "e9"))
    found = check("edge,length,unit,how\n" + rows)
    assert found.scale_conflict and found.scale.value == pytest.approx(0.01, abs=0.001)
    assert dispute.edits_of(found) == ()
    for result in found.results:
        if result.verdict == CONFLICT:
            assert [cause.kind for cause in result.causes] == ["scale"]


def test_edits_are_the_readings_of_one_edge_that_agree():
    found = check("edge,length,unit,how\ne1,15.24,m,laser\ne2,20,m,laser\ne1+e3,30.48,m,laser\n")
    assert [(edit.edge, edit.length_m) for edit in dispute.edits_of(found)] == [("e1", 15.24)]
    marked = dispute.mark_used(found, dispute.edits_of(found))
    assert [one.used for one in marked.results] == [True, False, False]


def test_corners_are_named_by_the_edges_that_meet_in_them():
    """Oracle: Pythagoras, the diagonal of 50 x 30 ft of eaves."""
    readings = dispute.read_tape(b"from,to,length,unit\ne1/e2,e3/e4,17.77,m\n", file="tape.csv", roof=ROOF)
    pairs = dispute.corner_pairs(ROOF, readings)
    values = np.array([np.linalg.norm(b - a) for a, b in pairs])
    found = dispute.check_tape(ROOF, readings, apart=(values, np.diag(np.full(len(values), 0.02**2))))
    assert found.results[0].model.value == pytest.approx(np.hypot(50, 30) * FT)
    assert found.results[0].verdict == AGREE


def test_points_of_the_cloud_carry_the_doubt_of_picking_them():
    result = only("from,to,length,unit\n0 0 0,3 4 0,5.00,m\n", scale_u=0.002)
    assert result.model.value == pytest.approx(5.0) and result.model.u > 0.01
    assert result.verdict in (AGREE, CANNOT_TELL)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no record"),
        ("edge,length,unit\n", "no record"),
        ("edge,span\ne1,3\n", "line 1: heading 'span' is unknown"),
        ("edge,unit\ne1,m\n", "line 1: heading 'length' is missing"),
        ("edge,edge,length\ne1,e1,3\n", "stands twice"),
        ("edge,length,unit\ne99,3,m\n", "line 2: edge 'e99' is not of this roof, need one of e1, e2"),
        ("edge,length,unit\ne1,3,m\n\ne1+e1,3,m\n", "line 4: edge e1 stands twice"),
        ("edge,length,unit\ne1,,m\n", "line 2: no length"),
        ("edge,length,unit\n,3,m\n", "need edge or from and to"),
        ("edge,from,to,length,unit\ne1,a,b,3,m\n", "need edge or from and to"),
        ("from,to,length,unit\na,b,3,m\n", "line 2: place 'a', need a corner like e1/e4 or x y z in metres"),
        ("from,to,length,unit\ne1/e3,e1/e2,3,m\n", "meet in 0 corners"),
        ("from,to,length,unit\ne1/e2,e2/e1,3,m\n", "are one corner"),
        ("from,to,length,unit\n1 1 1,1 1 1,3,m\n", "are one point"),
        ("edge,length,unit,u\ne1,15.2,m,0\n", "line 2: u '0'"),
        ("edge,length,unit,u\ne1,15.2,m,9\n", "less than half"),
        ("edge,length,unit\ne1,3,81,m\n", "line 2: 4 fields under 3 headings"),
        ('edge,length,unit\ne1,"3,m\n', "line 2:"),
        ("edge,length,unit,how\ne1,15.2,m,guess\n", "line 2: how 'guess'"),
    ],
)
def test_a_fault_is_named_with_its_line(text, message):
    with pytest.raises(InputError, match=r"^tape\.csv") as error:
        check(text)
    assert message in str(error.value)


def test_a_table_that_is_no_text_is_refused():
    for content in (b"\xff\xfe\x00", b"edge,length\n\xe9,3\n", b"edge\0,length\n"):
        with pytest.raises(InputError, match=r"tape\.csv"):
            dispute.read_tape(content, file="tape.csv", roof=ROOF)
