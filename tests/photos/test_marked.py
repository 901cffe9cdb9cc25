"""Photos tied by marks alone.

Oracle: exact geometry.  Houses, cameras and marks are drawn (`marked_house.py`); cameras and corners are
known exactly.  Comparison is after a rigid motion, which marks cannot know; scale is compared as it is.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from photos.marked_house import STICK, house, marked, photos_of, walk_round
from slopewright.errors import InputError
from slopewright.photos import marked as by_marks
from slopewright.photos.bundle import Layout, Length, LensPrior, Net, Sights, _moved, _System, project
from slopewright.photos.marked import MarkedLength


def placed(marks, shots, known=(STICK,), focal_px=1470.0):
    return by_marks.run(photos_of(shots, focal_px), marks, known, rng=np.random.default_rng(1))


def rigid(found, true):
    """Points moved onto the truth without scaling, and the rotation."""
    a, b = found - found.mean(axis=0), true - true.mean(axis=0)
    u, _, vt = np.linalg.svd(b.T @ a)
    turn = u @ np.diag([1, 1, np.sign(np.linalg.det(u @ vt))]) @ vt
    return a @ turn.T + true.mean(axis=0), turn


def against(block, home):
    true = np.array([home.corners[name] for name in block.names])
    moved, turn = rigid(block.xyz, true)
    return moved - true, turn


def test_derivatives_agree_with_differences():
    rng = np.random.default_rng(4)
    home, shots = house("hip"), walk_round(4, rng)
    marks = marked(home, shots, rng)
    names = [mark.name for mark in marks.marks]
    seen = [
        (i, j, mark.photos[shot.name])
        for j, mark in enumerate(marks.marks)
        for i, shot in enumerate(shots)
        if shot.name in mark.photos
    ]
    sights = Sights(
        photo=np.array([s[0] for s in seen]),
        mark=np.array([s[1] for s in seen]),
        xy=np.array([s[2] for s in seen]),
        u_px=np.full(len(seen), 1.5),
    )
    prior = LensPrior(
        focal_px=np.array([1470.0]),
        focal_sd=np.array([0.03]),
        centre_px=np.array([[999.5, 749.5]]),
        centre_sd_px=np.array([15.0]),
        of_photo=np.zeros(4, dtype=int),
    )
    net = Net(
        lens=np.array([[0.01, 3.0, -2.0, 0.03, -0.02]]),
        rotation=np.array([shot.rotation for shot in shots]),
        centre=np.array([shot.centre for shot in shots]),
        points=np.array([home.corners[name] for name in names]),
        posed=np.ones(4, dtype=bool),
        known=np.ones(len(names), dtype=bool),
    )
    layout = Layout(net)
    length = Length(name="a", ends=((0, 1), (2,)), length_m=5.0, u_m=0.01)
    system = _System(prior, sights, [length], layout, robust=False)
    _, jacobian = system.linear(net)
    for column in range(layout.size):
        step = np.zeros(layout.size)
        step[column] = 1e-5
        ahead, behind = (system.residual(_moved(net, layout, s * step)) for s in (1, -1))
        np.testing.assert_allclose(jacobian[:, column], (ahead - behind) / 2e-5, rtol=1e-5, atol=1e-4)
    assert np.isfinite(project(net, prior, sights)[0]).all()


@pytest.mark.parametrize(("kind", "n_photos"), [("hip", 12), ("gable", 8), ("pyramid", 8)])
def test_corners_come_out_within_their_uncertainty(kind, n_photos):
    """Errors of all coordinates, in the stated covariance, are chi square: below its 99.9 % point."""
    rng = np.random.default_rng(7)
    home, shots = house(kind), walk_round(n_photos, rng)
    block = placed(marked(home, shots, rng), shots)
    assert len(block.block.photos) == n_photos
    away, turn = against(block, home)
    assert np.sqrt((away**2).sum(axis=1).mean()) < 0.05
    spread = np.kron(np.eye(len(away)), turn) @ block.covariance @ np.kron(np.eye(len(away)), turn).T
    values, vectors = np.linalg.eigh(spread)
    kept = values > 1e-9
    n = int(kept.sum())
    square = float(((vectors[:, kept].T @ away.ravel()) ** 2 / values[kept]).sum())
    assert n == 3 * len(away) - 6
    assert square < n + 3.1 * np.sqrt(2 * n)


def test_the_vertical_comes_out_within_its_uncertainty():
    rng = np.random.default_rng(8)
    home, shots = house("gable"), walk_round(10, rng)
    block = placed(marked(home, shots, rng), shots)
    _, turn = against(block, home)
    lean = float(np.arccos(turn[2, 2]))
    assert lean < 3 * block.block.tilt_u_rad
    assert block.block.tilt_u_rad < np.radians(0.3)  # four plumb wall corners
    assert "4 plumb lines" in block.block.level_from


def test_four_photos_of_four_corners_are_enough():
    rng = np.random.default_rng(9)
    home, shots = house("hip"), walk_round(4, rng, first_rad=0.4 + np.pi / 4)
    block = placed(marked(home, shots, rng, only=("eave", "ridge", "wall", "stick")), shots, known=(
        MarkedLength(name="front eave", ends=(("eave sw",), ("eave se",)), length_m=12.1, u_m=0.01),
    ))  # fmt: skip
    assert len(block.block.photos) == 4
    away, _ = against(block, home)
    assert np.sqrt((away**2).sum(axis=1).mean()) < 0.08


def test_photos_agree_with_the_true_cameras():
    """Reprojection of the true house through the placed cameras, after the rigid motion."""
    rng = np.random.default_rng(10)
    home, shots = house("hip"), walk_round(12, rng)
    block = placed(marked(home, shots, rng), shots)
    true = np.array([home.corners[name] for name in block.names])
    moved, _ = rigid(true, block.xyz)
    for photo, shot in zip(block.block.photos, shots, strict=True):
        assert photo.name == shot.name
        for name, xyz in zip(block.names, moved, strict=True):
            pixel = shot.pixel(home.corners[name])
            if pixel is not None:
                assert np.linalg.norm(photo.project(xyz[None])[0] - pixel) < 8.0


def test_a_mark_put_in_the_wrong_place_is_named_and_left_out():
    rng = np.random.default_rng(11)
    home, shots = house("hip"), walk_round(12, rng)
    marks = marked(home, shots, rng)
    mark = marks.named("ridge e")
    victim = sorted(mark.photos)[3]
    x, y = mark.photos[victim]
    wrong = replace(mark, photos={**mark.photos, victim: (x + 30.0, y - 20.0)})
    marks = replace(marks, marks=tuple(wrong if m.name == "ridge e" else m for m in marks.marks))
    block = placed(marks, shots)
    told = [notice for notice in block.block.notices if notice.code == "mark_contradicts"]
    assert [notice.about for notice in told] == [(victim, "ridge e")]
    assert "36 px" in told[0].text or "3" in told[0].text.split(" px")[0][-2:]
    away, _ = against(block, home)
    assert np.sqrt((away**2).sum(axis=1).mean()) < 0.05


def test_two_names_exchanged_in_one_photo_are_both_told():
    rng = np.random.default_rng(12)
    home, shots = house("hip"), walk_round(12, rng)
    marks = marked(home, shots, rng)
    one, other = marks.named("eave sw"), marks.named("eave se")
    victim = next(name for name in one.photos if name in other.photos)
    swapped = {
        "eave sw": replace(one, photos={**one.photos, victim: other.photos[victim]}),
        "eave se": replace(other, photos={**other.photos, victim: one.photos[victim]}),
    }
    marks = replace(marks, marks=tuple(swapped.get(m.name, m) for m in marks.marks))
    block = placed(marks, shots)
    about = {n.about for n in block.block.notices if n.code == "mark_contradicts"}
    assert about == {(victim, "eave sw"), (victim, "eave se")}


@pytest.mark.parametrize("factor", [0.7, 1.3])
def test_a_focal_length_that_lies_is_found_out(factor):
    rng = np.random.default_rng(13)
    home, shots = house("hip"), walk_round(8, rng)
    block = placed(marked(home, shots, rng), shots, focal_px=1490.0 * factor)
    assert "focal_doubtful" in [notice.code for notice in block.block.notices]
    assert block.block.photos[0].camera.focal_px == pytest.approx(1490.0, rel=0.03)


def test_without_exif_the_focal_length_is_solved():
    rng = np.random.default_rng(14)
    home, shots = house("gable"), walk_round(8, rng)
    block = placed(marked(home, shots, rng), shots, focal_px=None)
    assert block.block.photos[0].camera.focal_px == pytest.approx(1490.0, rel=0.03)


def test_a_photo_with_few_marks_is_left_out_and_said_so():
    rng = np.random.default_rng(15)
    home, shots = house("hip"), walk_round(9, rng)
    marks = marked(home, shots, rng)
    kept = 0
    thinned = []
    for mark in marks.marks:
        photos = dict(mark.photos)
        if "walk_04.jpg" in photos:
            kept += 1
            if kept > 3:
                del photos["walk_04.jpg"]
        thinned.append(replace(mark, photos=photos))
    block = placed(replace(marks, marks=tuple(thinned)), shots)
    assert [name for name, _ in block.block.left_out] == ["walk_04.jpg"]
    assert "3 marks" in block.block.left_out[0][1]


def test_lengths_that_contradict_each_other_are_refused_by_name():
    rng = np.random.default_rng(16)
    home, shots = house("hip"), walk_round(9, rng)
    true_m = float(np.linalg.norm(home.corners["eave sw"] - home.corners["eave se"]))
    wrong = MarkedLength(
        name="front eave", ends=(("eave sw",), ("eave se",)), length_m=1.1 * true_m, u_m=0.01
    )
    with pytest.raises(InputError, match=r"contradict each other.*front eave"):
        placed(marked(home, shots, rng), shots, known=(STICK, wrong))
    right = replace(wrong, length_m=true_m)
    block = placed(marked(home, shots, np.random.default_rng(17)), shots, known=(STICK, right))
    assert block.block.scale_u < 0.002


@pytest.mark.parametrize(
    ("only", "n_photos", "known", "need"),
    [
        (("eave",), 3, (STICK,), "mark"),
        ((), 1, (STICK,), "no two photos"),
        ((), 8, (), "no known length"),
        (
            (),
            8,
            (MarkedLength(name="pole", ends=(("p",), ("q",)), length_m=2.0, u_m=0.01),),
            'pole.*mark "p"',
        ),
    ],
)
def test_too_little_is_refused_with_what_to_add(only, n_photos, known, need):
    rng = np.random.default_rng(18)
    home, shots = house("hip"), walk_round(n_photos, rng)
    with pytest.raises(InputError, match=need):
        placed(marked(home, shots, rng, only=only), shots, known=known)


def test_photos_of_two_houses_are_refused():
    rng = np.random.default_rng(19)
    home, shots = house("hip"), walk_round(6, rng)
    other = house("gable", length=17.0, width=6.0, pitch_deg=45.0)
    first, second = marked(home, shots[:3], rng), marked(other, shots[3:], rng)
    mixed = []
    for mark in first.marks:
        there = second.named(mark.name)
        mixed.append(replace(mark, photos={**mark.photos, **(there.photos if there else {})}))
    with pytest.raises(InputError):
        placed(replace(first, marks=tuple(mixed)), shots)


def test_the_same_marks_give_the_same_block():
    rng = np.random.default_rng(20)
    home, shots = house("hip"), walk_round(6, rng)
    marks = marked(home, shots, rng)
    one, other = placed(marks, shots), placed(marks, shots)
    assert (one.xyz == other.xyz).all() and (one.covariance == other.covariance).all()
