"""The layout as a file and as drawings: replayed, and cut round chimneys and skylights.

Oracles: plane geometry of rectangles and of their openings; counts by hand.
"""

import json
import time
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely

from simulate import as_measured, random_roof
from slopewright import takeoff
from slopewright.roof import RoofObject, Scope, TakeoffRequest
from slopewright.takeoff.laying import Policy
from takeoff.takeoff_roofs import gable, lean_to, line, system, take, with_corners

FT, SQ = 0.3048, 9.290304


def with_opening(kind="chimney", size=(1.2, 0.9), **where):
    roof = gable(40, 15, 6)
    middle = roof.vertices[list(roof.planes[0].loops[0])].mean(axis=0)
    thing = RoofObject(id="o1", kind=kind, plane="A", position=tuple(middle.tolist()), size=size)
    return gable(40, 15, 6, objects=(thing,))


def laid(roof, **scope):
    return takeoff.lay_out(roof, system(), TakeoffRequest(scope=Scope(**scope)))


def test_the_file_replays_every_piece_and_every_module():
    """Oracle: pieces lie where the file says; whole modules and outlines add up to what covers the plane."""
    courses = laid(gable(40, 15, 6))
    content, drawings = takeoff.layout_files(courses, system="composition-laminated")
    content = json.loads(json.dumps(content))
    module = content["module"]
    for plane, one in zip(content["planes"], courses.planes, strict=True):
        covered = shapely.Polygon(one.shape.covered[0])
        pieces = [
            shapely.Polygon(outline)
            if outline
            else shapely.box(start, c * module["exposure"] + covered.bounds[1], end,
                             c * module["exposure"] + covered.bounds[1] + module["height"])
            for c, start, end, outline, _ in plane["pieces"]
        ]  # fmt: skip
        assert shapely.union_all(pieces).buffer(1e-3).contains(covered)
        heads = sum(p.area for p in pieces) - plane["lap_m2"]
        assert heads == pytest.approx(covered.area, rel=2e-3)
    for k, policy in enumerate(content["policies"]):
        used = {piece[4][k] for plane in content["planes"] for piece in plane["pieces"]}
        assert len(used) == content["modules"][k] == courses.modules(Policy(policy))
    assert set(drawings) == {"A", "B"}
    drawn = ET.fromstring(drawings["A"])
    assert len([e for e in drawn.iter() if e.tag.endswith("path")]) >= courses.planes[0].n_pieces


@pytest.mark.parametrize("kind", ["chimney", "skylight"])
def test_courses_are_cut_round_an_opening(kind):
    """Oracle: what is covered is the plane less the opening's 1.2 x 0.9 m; pieces are cut for it."""
    without, courses = laid(gable(40, 15, 6)), laid(with_opening(kind))
    before, after = without.planes[0], courses.planes[0]
    assert after.cells.face_m2.sum() == pytest.approx(before.cells.face_m2.sum() - 1.2 * 0.9)
    assert after.n_cut > before.n_cut
    assert after.shape.area_m2 == pytest.approx(
        before.shape.area_m2
    )  # the area of the plane stays: convention
    assert line(take(with_opening(kind)), "field shingles").net.value == pytest.approx(
        line(take(gable(40, 15, 6)), "field shingles").net.value
    )


def test_pipes_small_things_and_what_lies_across_the_edge_are_no_openings():
    plain = laid(gable(40, 15, 6)).planes[0].cells.face_m2.sum()
    for roof in (
        with_opening("pipe"),
        with_opening("chimney", size=(0.1, 0.1)),
        with_opening(size=(40.0, 0.5)),
    ):
        assert laid(roof).planes[0].cells.face_m2.sum() == pytest.approx(plain)


def test_openings_that_overlap_are_cut_once():
    roof = with_opening()
    first = roof.objects[0]
    second = RoofObject(id="o2", kind="skylight", plane="A", position=first.position, size=(0.8, 0.8))
    both = laid(gable(40, 15, 6, objects=(first, second)))
    assert both.planes[0].cells.face_m2.sum() == pytest.approx(laid(roof).planes[0].cells.face_m2.sum())


def test_only_planes_in_scope_and_steep_enough_are_laid():
    assert [one.shape.plane for one in laid(gable(40, 15, 6), planes=("B",)).planes] == ["B"]
    assert laid(gable(40, 15, 1.5)) is None


def test_a_cut_up_roof_of_sixty_squares_is_laid_in_a_second():
    """The target of the issue, on the CPU's clock."""
    rng = np.random.default_rng(11)
    roof = as_measured(random_roof("l_hip", rng))
    factor = float(np.sqrt(60 * SQ / roof.area.value))
    corners = roof.vertices * factor / FT
    roof = with_corners(roof, corners)
    assert sum(p.area.value for p in roof.planes) == pytest.approx(60 * SQ, rel=1e-6)
    began = time.process_time()
    courses = laid(roof)
    assert time.process_time() - began < 1.0
    assert courses.modules(Policy.NONE) >= courses.modules(Policy.PLANE) >= courses.modules(Policy.POOLED)


@pytest.mark.parametrize(("run_ft", "pieces"), [(40, 5), (9, 1)])
def test_the_line_says_what_pooling_comes_to_and_that_no_fewer_do(run_ft, pieces):
    """Oracle: one run takes ceil((L - lap) / (stock - lap)) pieces however it is cut."""
    rule = line(take(lean_to(run_ft, 12, 6)), "drip edge at eaves").rule
    assert f"Pooled, {pieces} at the best lengths, proven the fewest." in rule
