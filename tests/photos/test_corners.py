"""Roofs from marked corners alone, through the adjustment to the numbers that a person reads.

Oracle: exact geometry of the drawn houses (`marked_house.py`).  The limits of pitch and
area are those that are set for a house marked in photos from the ground; lengths are held to their bounds.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from photos.marked_house import STICK, house, marked, photos_of, walk_round
from slopewright import adjust
from slopewright.errors import InputError
from slopewright.photos import corners
from slopewright.photos import marked as by_marks
from slopewright.photos.cornerfaces import find_faces
from slopewright.roof import Frame
from slopewright.scene import EdgeKind

ASIDE = frozenset({"stick a", "stick b"})


def block_of(home, marks, shots):
    return by_marks.run(photos_of(shots), marks, (STICK,), rng=np.random.default_rng(1))


def roof_of(made):
    frame = Frame(origin=np.zeros(3), ground_z_m=made.points.ground_z_m)
    config = adjust.AdjustConfig(scale_sd=made.scale_u, tilt_sd_rad=made.tilt_u_rad)
    return adjust.run(made.points, made.segmentation, made.topology, frame, config)


def measured(kind, *, seed, n_photos=14, **shape):
    rng = np.random.default_rng(seed)
    home, shots = house(kind, **shape), walk_round(n_photos, rng)
    made = corners.run(block_of(home, marked(home, shots, rng), shots), aside=ASIDE)
    return home, made, roof_of(made)


@pytest.mark.parametrize(
    ("kind", "kinds"),
    [
        ("hip", {EdgeKind.EAVE: 4, EdgeKind.HIP: 4, EdgeKind.RIDGE: 1}),
        ("gable", {EdgeKind.EAVE: 2, EdgeKind.RAKE: 4, EdgeKind.RIDGE: 1}),
        ("pyramid", {EdgeKind.EAVE: 4, EdgeKind.HIP: 4}),
    ],
)
def test_roofs_come_out_whole_and_within_their_bounds(kind, kinds):
    shape = {"length": 9.0, "width": 9.0} if kind == "pyramid" else {}
    home, _, roof = measured(kind, seed=21, **shape)
    assert len(roof.planes) == len(home.faces)
    counted = {k: sum(edge.kind == k for edge in roof.edges) for k in kinds}
    assert counted == kinds and len(roof.edges) == sum(kinds.values())
    assert roof.area.value == pytest.approx(home.area_m2, rel=0.015)
    assert roof.area.low < home.area_m2 < roof.area.high
    (true_pitch,) = {round(float(p), 6) for p in home.pitches_deg()}
    for plane in roof.planes:
        assert plane.pitch_deg.value == pytest.approx(true_pitch, abs=0.4)
        assert plane.pitch_deg.low < true_pitch < plane.pitch_deg.high
        assert plane.observed == 1.0
    true_eaves = [float(np.linalg.norm(home.corners[a] - home.corners[b])) for a, b in EAVES]
    for edge in roof.edges:
        if edge.kind is EdgeKind.EAVE:
            true = min(true_eaves, key=lambda length: abs(length - edge.length.value))
            assert edge.length.low < true < edge.length.high
            assert edge.length.half_width < 0.25


EAVES = (("eave sw", "eave se"), ("eave se", "eave ne"))


def test_wall_corners_stick_and_feet_are_no_corners_of_the_roof():
    _, made, roof = measured("hip", seed=22)
    assert len(made.topology.vertices) == 6
    heights = [plane.eave_height.value for plane in roof.planes]
    assert heights == pytest.approx([2.6 - 0.15] * 4, abs=0.06)  # eave over the feet of the walls


def test_a_known_length_along_an_eave_keeps_its_corners():
    """A reference may end in corners of the roof: they lie as high as the others and belong to it."""
    rng = np.random.default_rng(23)
    home, shots = house("gable"), walk_round(12, rng)
    block = block_of(home, marked(home, shots, rng), shots)
    made = corners.run(block, aside=ASIDE | {"eave sw", "eave se"})
    assert len(made.topology.faces) == 2 and len(made.topology.vertices) == 6


def test_a_stick_as_high_as_a_man_before_a_low_eave_is_no_corner():
    """Its upper end lies 0.3 m under the eave and before it, and would make a face of its own."""
    rng = np.random.default_rng(26)
    home = house("hip", eave=2.4)
    top = home.corners["stick b"] + np.array([0, 0, 2.1])
    home = replace(
        home,
        corners={**home.corners, "pole": top},
        normals={**home.normals, "pole": home.normals["stick b"]},
    )
    shots = walk_round(14, rng)
    made = corners.run(block_of(home, marked(home, shots, rng), shots), aside=ASIDE | {"pole"})
    assert len(made.topology.vertices) == 6 and len(made.topology.faces) == 4


def test_level_eaves_make_the_vertical_sharper():
    rng = np.random.default_rng(24)
    home, shots = house("hip"), walk_round(12, rng)
    marks = marked(home, shots, rng, only=("eave", "ridge", "stick"))
    block = block_of(home, marks, shots)
    made = corners.run(block, aside=ASIDE)
    assert made.tilt_u_rad < 0.5 * block.block.tilt_u_rad
    up = np.array([0, 0, 1.0])
    for plane, pitch in zip(made.segmentation.planes, [30.0] * 4, strict=True):
        assert np.degrees(np.arccos(plane.normal @ up)) == pytest.approx(pitch, abs=0.5)


def test_an_eave_that_is_not_level_is_named_and_not_used():
    """A front eave that falls by 1.5° while three eaves and the walls say what is level."""
    rng = np.random.default_rng(25)
    home = house("hip")
    drop = np.array([0, 0, 0.25])
    low = replace(home, corners={**home.corners, "eave sw": home.corners["eave sw"] - drop})
    shots = walk_round(14, rng)
    made = corners.run(block_of(low, marked(low, shots, rng), shots), aside=ASIDE)
    told = [n.text for n in made.segmentation.notices if n.code == "edge_not_level"]
    assert told and all("eave sw" in text for text in told)


L_CORNERS = {  # a hip over an L, all pitches one: corners go round from the south west
    "A1/F2 sw": (0, 0, 3.0),
    "A2/B1 se": (10, 0, 3.0),
    "B2/C1 e": (10, 4, 3.0),
    "C2/D1 inner": (4, 4, 3.0),
    "D2/E1 n": (4, 10, 3.0),
    "E2/F1 nw": (0, 10, 3.0),
    "B3/A3/C4 ridge e": (8, 2, 4.2),
    "A4/F3/C3/D4 knee": (2, 2, 4.2),
    "E3/D3/F4 ridge n": (2, 8, 4.2),
}


def test_named_corners_make_a_roof_with_a_valley():
    """The plan has 64 m²; at a rise of 0.6 the roof has 64 times the root of 1.36 (definition)."""
    names = tuple(L_CORNERS)
    xyz = np.array(list(L_CORNERS.values()), dtype=float)
    made = corners.run(standing(names, xyz))
    roof = roof_of(made)
    assert len(roof.planes) == 6
    assert roof.area.value == pytest.approx(64 * np.sqrt(1.36), rel=1e-6)
    counted = {kind: sum(edge.kind is kind for edge in roof.edges) for kind in EdgeKind}
    assert counted[EdgeKind.VALLEY] == 1 and counted[EdgeKind.EAVE] == 6
    assert counted[EdgeKind.RIDGE] == 2 and counted[EdgeKind.HIP] == 5


def test_a_notch_without_names_is_refused_with_what_to_do():
    names = tuple(name.split(" ", 1)[1] for name in L_CORNERS)
    xyz = np.array(list(L_CORNERS.values()), dtype=float)
    with pytest.raises(InputError, match=r"inner.*valley.*A1/B4"):
        corners.run(standing(names, xyz))


def standing(names, xyz, sd=0.01):
    """A block with these corners as its marks."""
    rng = np.random.default_rng(2)
    home, shots = house("hip"), walk_round(6, rng)
    block = block_of(home, marked(home, shots, rng), shots)
    return replace(
        block,
        names=names,
        xyz=np.asarray(xyz, dtype=float),
        covariance=sd**2 * np.eye(3 * len(xyz)),
        level=(),
        up_covariance=1e-6 * np.diag([1.0, 1.0, 0.0]),
    )


@pytest.mark.parametrize(
    ("codes", "need"),
    [
        (("A1 a", "A1 b", "A2 c", "A3 d"), "are both A1"),
        (("A1 a", "A2 b", "B1 c", "B2 d"), "face A has 2 corners"),
        (("A1 a", "A3 b", "A2 c", "A4 d"), "cross"),
    ],
)
def test_names_that_do_not_make_faces_are_refused(codes, need):
    xyz = np.array([[0, 0, 0], [4, 0, 0], [4, 3, 1], [0, 3, 1.0]])
    with pytest.raises(InputError, match=need):
        find_faces(codes, xyz, 1e-4 * np.eye(12), frozenset(), "marks.json")


def test_a_corner_off_its_named_face_is_refused_by_name():
    names = ("A1 a", "A2 b", "A3 c", "A4 d")
    xyz = np.array([[0, 0, 0], [6, 0, 0], [6, 4, 2], [0, 4, 4.0]])
    with pytest.raises(InputError, match=r"lies .* m off the plane of face A"):
        corners.run(standing(names, xyz))


def test_a_shed_is_one_face():
    names = ("low w", "low e", "high e", "high w")
    xyz = np.array([[0, 0, 2], [6, 0, 2], [6, 4, 3], [0, 4, 3.0]])
    made = corners.run(standing(names, xyz))
    roof = roof_of(made)
    assert len(roof.planes) == 1
    assert roof.area.value == pytest.approx(6 * np.hypot(4, 1), rel=1e-6)
    assert [n.code for n in made.segmentation.notices] == ["side_not_marked"]


def test_corners_known_too_badly_to_tell_a_fold_are_refused():
    names = ("w1", "w2", "e1", "e2", "r1", "r2")
    xyz = np.array([[0, 0, 2], [0, 8, 2], [6, 0, 2], [6, 8, 2], [3, 0, 2.35], [3, 8, 2.35]], dtype=float)
    with pytest.raises(InputError, match="one face or on two"):
        corners.run(standing(names, xyz, sd=0.3))
