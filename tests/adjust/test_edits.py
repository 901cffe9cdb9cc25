"""Edits of a measured roof.  Oracles: definitions, plane geometry, exact roofs of the simulator."""

import json
from dataclasses import replace
from functools import cache

import jsonschema
import numpy as np
import pytest

from simulate import photogrammetry, random_roof, roof_points_of
from simulate.segmented import true_segmentation
from slopewright import adjust, edges, report
from slopewright.errors import InputError
from slopewright.resources import shipped
from slopewright.roof import Frame, Roof
from slopewright.scene import EdgeKind
from slopewright.state import (
    Edit,
    ExcludePlane,
    FixLength,
    FixPitch,
    IncludePlane,
    MergePlanes,
    MoveBoundary,
    PlaceBoundary,
    SetKind,
    SplitPlane,
)

DENSITY = 40.0
KINDS = ("gable", "hip", "cross_gable", "two_level", "l_hip", "mansard")


@cache
def roof_of(kind: str) -> Roof:
    """A roof as measured from all but exact points."""
    truth = random_roof(kind, np.random.default_rng([2, 1]))
    rng = np.random.default_rng([2, 3])
    cloud = photogrammetry(
        truth, rng, density=DENSITY, noise_m=0.005, bleed_m=0, holes=0, skirts=0, round_m=0
    )
    points = roof_points_of(cloud, truth)
    segmentation = true_segmentation(points, cloud, truth, spacing_m=1 / np.sqrt(DENSITY))
    topology = edges.run(points, segmentation)
    return adjust.run(points, segmentation, topology, Frame(origin=np.zeros(3), ground_z_m=0.0))


def edge_of(roof: Roof, kind: EdgeKind):
    return next(edge for edge in roof.edges if edge.kind == kind)


def plane_of(roof: Roof, name: str):
    return next(plane for plane in roof.planes if plane.id == name)


def length_of(roof: Roof, name: str) -> float:
    return next(edge for edge in roof.edges if edge.id == name).length.value


def middle_of(roof: Roof, name: str) -> np.ndarray:
    return roof.ring(plane_of(roof, name).loops[0]).mean(axis=0)[:2]


def down_the_slope(roof: Roof, name: str, *, turned: bool = False) -> SplitPlane:
    """A line through the middle of a plane, down its slope or along its contour."""
    fall = plane_of(roof, name).normal[:2]
    fall = fall / np.hypot(*fall)
    way = np.array([-fall[1], fall[0]]) if turned else fall
    start = middle_of(roof, name)
    end = start + way
    return SplitPlane(plane=name, start=(start[0], start[1]), end=(end[0], end[1]))


def same(first: Roof, second: Roof) -> bool:
    """To the last bit."""
    return (
        report.json_bytes(report.roof_json(first)) == report.json_bytes(report.roof_json(second))
        and np.array_equal(first.vertices, second.vertices)
        and np.array_equal(first.joint.covariance, second.joint.covariance)
    )


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("by_m", [0.15, -0.1])
def test_moving_an_eave_changes_its_planes_area_by_its_length_times_the_way(kind, by_m):
    """Plane geometry: a strip of the eave's length and width d; where the eave's ends are square to it,
    exactly.  Where hips end there, the corner goes along the other eave, so the strip is square too.

    Opening a corner takes back what its tie had moved: within the bounds of the area, and the same for any d.
    """
    roof = roof_of(kind)
    edge = edge_of(roof, EdgeKind.EAVE)
    (name,) = edge.planes
    opened = adjust.apply(roof, MoveBoundary(edge=edge.id, by_m=1e-6 * by_m))
    moved = adjust.apply(roof, MoveBoundary(edge=edge.id, by_m=by_m))
    assert abs(opened.plan_area.value - roof.plan_area.value) < 0.1 * roof.plan_area.u
    change = moved.plan_area.value - opened.plan_area.value
    if any(e.kind in (EdgeKind.SIDEWALL, EdgeKind.HEADWALL) for e in roof.edges):
        change = (
            plane_of(moved, name).plan_area.value - plane_of(opened, name).plan_area.value
        )  # hides others
    assert change == pytest.approx(edge.length.value * by_m, rel=2e-3)


@pytest.mark.parametrize("kind", ["gable", "cross_gable", "mansard"])
def test_moving_an_eave_there_and_back_is_the_same_roof(kind):
    roof = roof_of(kind)
    edge = edge_of(roof, EdgeKind.EAVE)
    there = adjust.apply(roof, MoveBoundary(edge=edge.id, by_m=0.2))
    back = adjust.apply(there, MoveBoundary(edge=edge.id, by_m=-0.2))
    assert back.plan_area.value == pytest.approx(roof.plan_area.value, rel=2e-4)


def some_edits(roof: Roof) -> list[Edit]:
    eave = edge_of(roof, EdgeKind.EAVE)
    pitch_rad = np.deg2rad(plane_of(roof, "A").pitch_deg.value)
    xy = roof.vertices[eave.start, :2]
    return [
        FixPitch(plane="A", pitch_rad=pitch_rad + 0.001, u_rad=0.002),
        FixLength(edge=eave.id, length_m=eave.length.value + 0.01, u_m=0.01),
        PlaceBoundary(edge=eave.id, xy=(float(xy[0]), float(xy[1])), u_m=0.01),
        MoveBoundary(edge=eave.id, by_m=0.05),
        down_the_slope(roof, "B"),
        SetKind(edge=eave.id, kind=EdgeKind.RAKE),
        ExcludePlane(plane="A"),
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_undo_is_exact(kind):
    """To the last bit, after every edit and after all of them."""
    roof = roof_of(kind)
    stages = [roof]
    for edit in some_edits(roof):
        stages.append(adjust.apply(stages[-1], edit))
        assert not same(stages[-1], stages[-2])
    for before, after in zip(stages[-2::-1], stages[:0:-1], strict=True):
        assert same(adjust.undo(after), before)
    with pytest.raises(InputError, match="nothing to undo"):
        adjust.undo(roof)


@pytest.mark.parametrize("kind", ["gable", "l_hip"])
def test_a_journal_makes_the_same_roof_again(kind):
    """Through the bytes of state.json, which its schema describes."""
    roof = roof_of(kind)
    edited = adjust.replay(roof, tuple(some_edits(roof)))
    content = json.loads(report.json_bytes(report.state_json(edited.state, edited.frame)))
    jsonschema.validate(content, json.loads(shipped("report/schemas/state.schema.json").read_text()))
    state, frame, journal = report.state_from_json(content, file="state.json")
    again = adjust.replay(adjust.measured(state, frame), journal)
    assert journal == edited.state.journal
    assert same(again, edited)
    assert again.notices == edited.notices


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("kind", KINDS)
def test_a_plane_that_is_split_and_merged_is_the_plane_it_was(kind, turned):
    """The parts of one plane have its pitch and add up to its area; merged, they are its union."""
    roof = roof_of(kind)
    parted = adjust.apply(roof, down_the_slope(roof, "A", turned=turned))
    new = plane_of(parted, parted.planes[-1].id)
    assert len(parted.planes) == len(roof.planes) + 1
    assert new.id not in {p.id for p in roof.planes}
    parts = plane_of(parted, "A").area.value + new.area.value
    assert parts == pytest.approx(plane_of(roof, "A").area.value, rel=1e-4)
    assert parted.area.u == pytest.approx(roof.area.u, rel=0.02)
    whole = adjust.apply(parted, MergePlanes(first="A", second=new.id))
    assert plane_of(whole, "A").area.value == pytest.approx(parts, rel=1e-4)
    assert {p.id for p in whole.planes} == {p.id for p in roof.planes}
    assert {e.id: e.kind for e in whole.edges} == {e.id: e.kind for e in roof.edges}
    for edge in roof.edges:
        assert length_of(whole, edge.id) == pytest.approx(edge.length.value, abs=1e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_a_pitch_that_is_fixed_is_that_pitch(kind):
    roof = roof_of(kind)
    pitch = plane_of(roof, "A").pitch_deg
    wanted = pitch.value + pitch.u
    fixed = adjust.apply(roof, FixPitch(plane="A", pitch_rad=np.deg2rad(wanted), u_rad=1e-7))
    assert plane_of(fixed, "A").pitch_deg.value == pytest.approx(wanted, abs=1e-4)
    assert plane_of(fixed, "A").pitch_deg.u < 1e-4
    assert fixed.state.agreements[-1].agrees


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("u", [1e-4, 1e-2, 1.0])
def test_an_observation_that_agrees_widens_no_bound(kind, u):
    """Definition of conditioning a normal vector: no variance grows (to what the moved vector changes)."""
    roof = roof_of(kind)
    pitch_rad = np.deg2rad(plane_of(roof, "B").pitch_deg.value)
    eave = edge_of(roof, EdgeKind.EAVE)
    for edit in (
        FixPitch(plane="B", pitch_rad=pitch_rad, u_rad=u),
        FixLength(edge=eave.id, length_m=eave.length.value, u_m=u),
    ):
        sure = adjust.apply(roof, edit)
        assert sure.state.agreements[-1].e_n == pytest.approx(0.0, abs=1e-6)
        before, after = np.diag(roof.joint.covariance), np.diag(sure.joint.covariance)
        assert (after <= before * (1 + 1e-6)).all()


def test_a_tape_along_the_ridge_tells_how_far_all_rakes_bleed():
    """Two rakes end a gable's ridge: their common doubt is all but gone, and the area's bound with it."""
    roof = roof_of("gable")
    ridge = edge_of(roof, EdgeKind.RIDGE)
    known = adjust.apply(roof, FixLength(edge=ridge.id, length_m=ridge.length.value, u_m=0.003))
    assert known.area.u < 0.75 * roof.area.u


@pytest.mark.parametrize("kind", ["gable", "l_hip"])
def test_the_order_of_edits_that_have_nothing_to_do_with_each_other_does_not_matter(kind):
    roof = roof_of(kind)
    observed, placed, _, moved, parted, named, _ = some_edits(roof)
    for one, other in ((observed, placed), (named, parted), (observed, named), (moved, named)):
        first = adjust.replay(roof, (one, other))
        second = adjust.replay(roof, (other, one))
        assert first.area.value == pytest.approx(second.area.value, rel=1e-6)
        assert [e.kind for e in first.edges] == [e.kind for e in second.edges]
        np.testing.assert_allclose(
            first.joint.covariance, second.joint.covariance, rtol=1e-4, atol=1e-4 * first.area.u**2
        )


def test_conflict_is_found_where_there_is_one_and_told():
    """E_n of ISO 13528: observed less expected over the root of the summed squares of 95 % uncertainties."""
    roof = roof_of("hip")
    pitch = plane_of(roof, "A").pitch_deg
    edit = FixPitch(plane="A", pitch_rad=np.deg2rad(pitch.value + 5 * pitch.u), u_rad=np.deg2rad(pitch.u))
    expected = 5 / (1.959963984540054 * np.sqrt(2))
    assert adjust.agreement_of(roof, edit).e_n == pytest.approx(expected, rel=1e-6)
    told = adjust.apply(roof, edit)
    assert told.area.value == roof.area.value
    (notice,) = [n for n in told.notices if n.code == "observation_conflict"]
    assert "A" in notice.about
    forced = adjust.apply(roof, replace(edit, forced=True))
    (notice,) = [n for n in forced.notices if n.code == "observation_forced"]
    moved = plane_of(forced, "A").pitch_deg
    assert moved.value > pitch.value + 2 * pitch.u
    assert plane_of(forced, "A").area.u >= 0.5 * plane_of(roof, "A").area.u


def test_observations_as_uncertain_as_they_say_conflict_in_one_case_of_twenty():
    """Binomial, 300 tapes and 300 pitches drawn about what the roof says with what both say of themselves."""
    roof = roof_of("gable")
    rng = np.random.default_rng(4)
    eave, pitch = edge_of(roof, EdgeKind.EAVE).length, plane_of(roof, "A").pitch_deg
    n, conflicts = 300, 0
    for _ in range(n):
        length = eave.value + rng.normal() * np.hypot(eave.u, 0.02)
        angle = np.deg2rad(pitch.value + rng.normal() * np.hypot(pitch.u, 0.1))
        tape = FixLength(edge=edge_of(roof, EdgeKind.EAVE).id, length_m=length, u_m=0.02)
        level = FixPitch(plane="A", pitch_rad=angle, u_rad=np.deg2rad(0.1))
        conflicts += sum(not adjust.agreement_of(roof, edit).agrees for edit in (tape, level))
    assert abs(conflicts - 0.05 * 2 * n) < 4 * np.sqrt(0.05 * 0.95 * 2 * n)


def test_a_boundary_forced_to_a_spot_passes_it():
    roof = roof_of("l_hip")
    eave = edge_of(roof, EdgeKind.EAVE)
    a, b = roof.vertices[eave.start, :2], roof.vertices[eave.end, :2]
    out = np.array([(b - a)[1], -(b - a)[0]]) / np.hypot(*(b - a))
    spot = (a + b) / 2 + 0.4 * out
    edit = PlaceBoundary(edge=eave.id, xy=(spot[0], spot[1]), u_m=0.01)
    refused = adjust.apply(roof, edit)
    assert not refused.state.agreements[-1].used
    forced = adjust.apply(roof, replace(edit, forced=True))
    moved = next(e for e in forced.edges if e.id == eave.id)
    ends = forced.vertices[[moved.start, moved.end], :2]
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    away = (spot - ends[0]) @ np.array([along[1], -along[0]])
    assert away == pytest.approx(0.0, abs=0.01)


def test_an_excluded_plane_is_not_counted_and_comes_back_as_it_was():
    roof = roof_of("cross_gable")
    gone = adjust.apply(roof, ExcludePlane(plane="B"))
    assert gone.area.value == pytest.approx(roof.area.value - plane_of(roof, "B").area.value)
    assert not any("B" in edge.planes for edge in gone.edges)
    only_of_b = {e.id for e in roof.edges if e.planes == ("B",)}
    assert {e.id for e in gone.edges} == {e.id for e in roof.edges} - only_of_b
    back = adjust.apply(gone, IncludePlane(plane="B"))
    assert same(back, roof)


def test_ids_of_what_an_edit_does_not_touch_stay():
    roof = roof_of("l_hip")
    parted = adjust.apply(roof, down_the_slope(roof, "C"))
    kept = {e.id: e.kind for e in parted.edges}
    assert all(kept[edge.id] == edge.kind for edge in roof.edges)
    assert {p.id for p in roof.planes} < {p.id for p in parted.planes}


@pytest.mark.parametrize(
    ("edit", "match"),
    [
        (FixPitch(plane="Q", pitch_rad=0.5, u_rad=0.1), "plane Q: not of this roof"),
        (FixPitch(plane="A", pitch_rad=2.0, u_rad=0.1), "out of range"),
        (FixPitch(plane="A", pitch_rad=0.5, u_rad=0.0), "need a positive one"),
        (FixLength(edge="e99", length_m=3.0, u_m=0.1), "edge e99: not of this roof"),
        (FixLength(edge="e1", length_m=float("nan"), u_m=0.1), "out of range"),
        (MoveBoundary(edge="ridge", by_m=0.1), "two planes meet there"),
        (MoveBoundary(edge="e1", by_m=40.0), "need less than 10"),
        (MoveBoundary(edge="e1", by_m=-9.0), "inside out"),
        (MergePlanes(first="A", second="A"), "with itself"),
        (SetKind(edge="ridge", kind=EdgeKind.EAVE), "where two planes meet"),
        (SetKind(edge="e1", kind=EdgeKind.VALLEY), "where one plane ends"),
        (IncludePlane(plane="A"), "counted already"),
        (SplitPlane(plane="A", start=(500.0, 0.0), end=(501.0, 0.0)), "does not cross it"),
        (SplitPlane(plane="A", start=(0.0, 0.0), end=(0.0, 0.0)), "need two spots"),
    ],
)
def test_what_cannot_be_done_is_refused_in_one_line(edit, match):
    roof = roof_of("gable")
    if getattr(edit, "edge", "") == "ridge":
        edit = replace(edit, edge=edge_of(roof, EdgeKind.RIDGE).id)
    with pytest.raises(InputError, match=match) as caught:
        adjust.apply(roof, edit)
    assert "\n" not in str(caught.value)


def test_planes_that_do_not_meet_are_not_merged():
    roof = roof_of("hip")
    ends = [
        p.id
        for p in roof.planes
        if not any(e.kind == EdgeKind.RIDGE and p.id in e.planes for e in roof.edges)
    ]
    with pytest.raises(InputError, match="share no edge"):
        adjust.apply(roof, MergePlanes(first=ends[0], second=ends[1]))


def folded(roof: Roof, name: str, extra: float) -> tuple[Roof, SplitPlane]:
    """A plane whose points are steeper by `extra` below a level fold through its middle, and that fold."""
    state = roof.state
    face = state.topology.faces[state.plane_ids.index(name)]
    fold = down_the_slope(roof, name, turned=True)
    fall = plane_of(roof, name).normal[:2]
    fall = fall / np.hypot(*fall)
    cells = [c.copy() for c in state.cells]
    below = np.maximum((cells[face.plane][:, 1:3] - fold.start) @ fall, 0.0)
    cells[face.plane][:, 3] -= extra * below
    return adjust.measured(replace(state, cells=tuple(cells)), roof.frame), fold


@pytest.mark.parametrize("kind", ["gable", "two_level", "cross_gable"])
def test_a_plane_whose_points_are_folded_splits_into_its_two_slopes(kind):
    """Plane geometry: the fold's slopes differ by what was put in, and the parts meet in the fold."""
    roof, fold = folded(roof_of(kind), "A", extra=0.12)
    parted = adjust.apply(roof, replace(fold, kind=EdgeKind.PITCH_BREAK))
    new = parted.planes[-1].id
    slopes = sorted(np.tan(np.deg2rad(plane_of(parted, n).pitch_deg.value)) for n in ("A", new))
    assert slopes[1] - slopes[0] == pytest.approx(0.12, abs=0.01)
    edge = next(e for e in parted.edges if set(e.planes) == {"A", new})
    assert edge.kind == EdgeKind.PITCH_BREAK
    ends = parted.vertices[[edge.start, edge.end], :2]
    way = np.array(fold.end) - fold.start
    across = np.array([-way[1], way[0]])
    assert np.abs((ends - fold.start) @ across).max() < 0.1
    assert parted.plan_area.value == pytest.approx(roof.plan_area.value, rel=2e-3)
    for name in ("A", new):
        for loop in plane_of(parted, name).loops:
            plane = plane_of(parted, name)
            assert np.abs(parted.ring(loop) @ plane.normal - plane.offset).max() < 0.005


def test_parts_that_are_a_step_apart_are_no_two_sides_of_a_crease():
    roof = roof_of("gable")
    state = roof.state
    row = state.topology.faces[state.plane_ids.index("A")].plane
    line = down_the_slope(roof, "A", turned=True)
    fall = plane_of(roof, "A").normal[:2]
    cells = [c.copy() for c in state.cells]
    cells[row][:, 3] -= np.where((cells[row][:, 1:3] - line.start) @ fall > 0, 0.4, 0.0)
    stepped = adjust.measured(replace(state, cells=tuple(cells)), roof.frame)
    with pytest.raises(InputError, match="do not meet along the line"):
        adjust.apply(stepped, line)


def test_planes_that_differ_are_merged_with_wider_bounds_and_told():
    """Two slopes of a fold, merged: one plane between them, less sure than either."""
    roof, fold = folded(roof_of("gable"), "A", extra=0.12)
    parted = adjust.apply(roof, fold)
    new = parted.planes[-1].id
    merged = adjust.apply(parted, MergePlanes(first="A", second=new))
    assert "merged_unlike" in {n.code for n in merged.notices}
    pitches = sorted(plane_of(parted, n).pitch_deg.value for n in ("A", new))
    assert pitches[0] < plane_of(merged, "A").pitch_deg.value < pitches[1]
    assert plane_of(merged, "A").pitch_deg.u > plane_of(parted, "A").pitch_deg.u
    assert merged.plan_area.value == pytest.approx(parted.plan_area.value, rel=5e-3)


def test_a_length_that_an_edit_cuts_is_the_sum_of_its_pieces_and_one_it_joins_lapses():
    roof = roof_of("gable")
    (eave,) = [e for e in roof.edges if e.kind == EdgeKind.EAVE and e.planes == ("A",)]
    tape = FixLength(edge=eave.id, length_m=eave.length.value + 0.01, u_m=1e-4)
    parted = adjust.replay(roof, (tape, down_the_slope(roof, "A")))
    new = [e for e in parted.edges if e.kind == EdgeKind.EAVE and e.planes == (parted.planes[-1].id,)]
    pieces = length_of(parted, eave.id) + sum(e.length.value for e in new)
    assert pieces == pytest.approx(tape.length_m, abs=1e-3)
    joined = adjust.apply(parted, MergePlanes(first="A", second=parted.planes[-1].id))
    assert "observation_lapsed" in {n.code for n in joined.notices}
