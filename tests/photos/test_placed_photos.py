"""Cameras and their doubt, marked points, scale: against exact geometry, normal equations, repeated draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from placed_ring import mark, ring

from slopewright.errors import InputError
from slopewright.photos.doubt import (
    LENS_PRIOR_SD,
    OPTIMISM,
    CameraDoubt,
    camera_doubt,
    projection_slopes,
)
from slopewright.photos.model import Camera
from slopewright.photos.placed import Model
from slopewright.photos.scale import KnownLength, scale_of
from slopewright.photos.spots import place_marks
from slopewright.photos.whole import sound_parts

ENDS = {"a": np.array([3.0, -1.0, 0.2]), "b": np.array([-2.0, 1.5, 0.1]), "c": np.array([0.5, 2.5, 1.0])}


def certain(model: Model) -> CameraDoubt:
    """Cameras that are known exactly."""
    size = 6 * len(model.names) + 5
    rows = (6 * len(model.names),) * len(model.names)
    return CameraDoubt(covariance=np.zeros((size, size)), lens_row=rows, noise_px=0.3)


def known(
    title: str, a: str, b: str, *, factor: float = 1.0, u_m: float = 0.001, check: bool = False
) -> KnownLength:
    """The true distance, two metres to the unit, times a factor."""
    length = 2.0 * float(np.linalg.norm(ENDS[a] - ENDS[b])) * factor
    return KnownLength(title=title, length_m=length, u_m=u_m, marks=(a, b), check_only=check)


def test_pixels_are_those_of_the_camera_of_blocks() -> None:
    """Oracle: the interface's own camera, another implementation of the same lens."""
    model = ring()
    f, x, y, k1, k2 = model.lens[0]
    camera = Camera(width_px=1600, height_px=1200, focal_px=f, centre_px=(x, y), k1=k1, k2=k2)
    expected = camera.project(model.points @ model.rotation[0].T + model.translation[0])
    np.testing.assert_allclose(model.pixels[model.seen_photo == 0], expected, atol=1e-9)


def test_slopes_of_pixels_are_their_derivatives() -> None:
    """Oracle: central differences."""
    model = ring(3, 5)
    lens, turn, shift, point = model.lens[:1], model.rotation[:1], model.translation[:1], model.points[:1]
    _, by_pose, by_lens, by_point = projection_slopes(lens, turn, shift, point)
    step = 1e-6

    def turned(w: np.ndarray, sign: float) -> np.ndarray:
        cross = sign * step * np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]])
        small = np.eye(3) + cross + cross @ cross / 2
        return projection_slopes(lens, small @ turn, shift @ small.T, point)[0]

    for k in range(3):
        w = np.eye(3)[k]
        np.testing.assert_allclose(
            (turned(w, 1) - turned(w, -1))[0] / (2 * step), by_pose[0, :, k], rtol=1e-5, atol=1e-3
        )
        moved = [projection_slopes(lens, turn, shift + s * step * w, point)[0] for s in (1, -1)]
        np.testing.assert_allclose(
            (moved[0] - moved[1])[0] / (2 * step), by_pose[0, :, 3 + k], rtol=1e-5, atol=1e-3
        )
        moved = [projection_slopes(lens, turn, shift, point + s * step * w)[0] for s in (1, -1)]
        np.testing.assert_allclose(
            (moved[0] - moved[1])[0] / (2 * step), by_point[0, :, k], rtol=1e-5, atol=1e-3
        )
    for k in range(5):
        change = step * np.eye(5)[k]
        moved = [projection_slopes(lens + s * change, turn, shift, point)[0] for s in (1, -1)]
        np.testing.assert_allclose(
            (moved[0] - moved[1])[0] / (2 * step), by_lens[0, :, k], rtol=1e-5, atol=1e-3
        )


def test_doubt_of_baselines_is_that_of_the_whole_normal_equations() -> None:
    """Oracle: pseudo-inverse of the unreduced normal matrix, valid for what has no size, place or turn."""
    model = ring(4, 30, noise_px=0.3)
    doubt = camera_doubt(model)
    n, p, m = 4, 30, len(model.seen_photo)
    _, by_pose, by_lens, by_point = projection_slopes(
        model.lens[model.seen_photo],
        model.rotation[model.seen_photo],
        model.translation[model.seen_photo],
        model.points[model.seen_point],
    )
    slope = np.zeros((2 * m, 6 * n + 5 + 3 * p))
    for k, (i, j) in enumerate(zip(model.seen_photo, model.seen_point, strict=True)):
        slope[2 * k : 2 * k + 2, 6 * i : 6 * i + 6] = by_pose[k]
        slope[2 * k : 2 * k + 2, 6 * n : 6 * n + 5] = by_lens[k]
        slope[2 * k : 2 * k + 2, 6 * n + 5 + 3 * j : 6 * n + 8 + 3 * j] = by_point[k]
    normal = slope.T @ slope / doubt.noise_px**2
    long_side = 2 * model.lens[:, 1:3].max()
    prior = np.array(LENS_PRIOR_SD) * [long_side, long_side, long_side, 1, 1]
    at = np.arange(6 * n, 6 * n + 5)
    normal[at, at] += prior**-2
    scale = 1 / np.sqrt(np.diag(normal))
    inverse = np.linalg.pinv(normal * scale[:, None] * scale, rcond=1e-11) * scale[:, None] * scale

    centres = model.centres
    ratio = np.zeros(6 * n + 5)  # of ln |c1 - c0| - ln |c2 - c0|: a centre moves by -R' shift
    for other, sign in ((1, 1.0), (2, -1.0)):
        away = centres[other] - centres[0]
        unit = sign * away / (away @ away)
        ratio[6 * other + 3 : 6 * other + 6] -= model.rotation[other] @ unit
        ratio[3:6] += model.rotation[0] @ unit
    expected = ratio @ inverse[: 6 * n + 5, : 6 * n + 5] @ ratio
    assert ratio @ doubt.covariance @ ratio / OPTIMISM**2 == pytest.approx(expected, rel=1e-4)


def test_marks_are_placed_exactly_and_as_doubtful_as_repeated_marking_is() -> None:
    """Oracle: exact points; the scatter of 300 draws, whose standard deviation is known to 4 %."""
    model, rng = ring(), np.random.default_rng(3)
    exact = place_marks(model, certain(model), [mark(model, "a", ENDS["a"])])
    np.testing.assert_allclose(exact.xyz[0], ENDS["a"], atol=1e-9)
    drawn = [place_marks(model, certain(model), [mark(model, "a", ENDS["a"], rng=rng)]) for _ in range(300)]
    spread = np.cov(np.array([spots.xyz[0] for spots in drawn]).T)
    assert np.trace(spread) == pytest.approx(np.trace(exact.covariance), rel=0.15)


def test_a_wrong_pixel_is_named_and_left_out() -> None:
    model = ring()
    bad = mark(model, "a", ENDS["a"], rng=np.random.default_rng(5))
    x, y = bad.photos["p2.jpg"]
    bad = replace(bad, photos={**bad.photos, "p2.jpg": (x + 40, y)})
    spots = place_marks(model, certain(model), [bad])
    assert [notice.about for notice in spots.notices] == [("a", "p2.jpg")]
    assert "p2.jpg" not in spots.photos[0]
    assert np.linalg.norm(spots.xyz[0] - ENDS["a"]) < 0.05


def test_scale_is_that_of_a_known_length() -> None:
    """Oracle: the ring is drawn at two metres to the unit."""
    model = ring()
    spots = place_marks(model, certain(model), [mark(model, name, xyz) for name, xyz in ENDS.items()])
    scale = scale_of(spots, [known("staff", "a", "b"), known("tape", "a", "c", check=True)], {})
    assert scale.metres == pytest.approx(2.0, rel=1e-9)
    assert "0.00: agrees" in scale.notices[0].text and scale.notices[0].code == "tape_agrees"


def test_scale_is_as_doubtful_as_repeated_marking_is() -> None:
    """Oracle: 300 draws of marks with 1 px, two lengths that share an end."""
    model, rng = ring(4), np.random.default_rng(8)
    found = []
    for _ in range(300):
        spots = place_marks(model, certain(model), [mark(model, k, v, rng=rng) for k, v in ENDS.items()])
        scale = scale_of(spots, [known("s", "a", "b"), known("t", "a", "c")], {})
        found.append((scale.metres / 2 - 1) / scale.u)
    assert np.std(found) == pytest.approx(1.0, abs=0.15)


def test_references_that_contradict_each_other_are_refused_and_the_bad_one_of_three_is_named() -> None:
    model = ring()
    spots = place_marks(model, certain(model), [mark(model, name, xyz) for name, xyz in ENDS.items()])
    with pytest.raises(InputError, match=r"contradict each other.*staff.*rod"):
        scale_of(spots, [known("staff", "a", "b"), known("rod", "b", "c", factor=1.1)], {})
    three = [known("staff", "a", "b"), known("rod", "b", "c", factor=1.1), known("bar", "a", "c")]
    scale = scale_of(spots, three, {})
    assert scale.metres == pytest.approx(2.0, rel=1e-3)
    (notice,) = scale.notices
    assert notice.code == "reference_contradicts" and notice.text.startswith("rod")


def test_a_reference_marked_in_one_photo_is_refused_by_name() -> None:
    model = ring()
    alone = mark(model, "a", ENDS["a"])
    alone = replace(alone, photos={"p1.jpg": alone.photos["p1.jpg"]})
    spots = place_marks(model, certain(model), [alone, mark(model, "b", ENDS["b"])])
    with pytest.raises(InputError, match=r'staff: mark "a" is marked in p1\.jpg alone, need two or more'):
        scale_of(spots, [known("staff", "a", "b")], {})
    with pytest.raises(InputError, match=r'no mark "zz" in marks\.json'):
        scale_of(spots, [replace(known("staff", "a", "b"), marks=("b", "zz"))], {})


def test_a_ring_that_hangs_together_by_a_thread_is_taken_apart() -> None:
    """Oracle: two rings of three photos that share ten points, fewer than make photos count on each other."""
    n_each, n_shared = 80, 10
    first = [(i, j) for i in range(3) for j in range(n_each)]
    second = [(3 + i, n_each - n_shared + j) for i in range(3) for j in range(n_each)]
    seen = np.array(first + second + [(6, 0), (6, 1)])
    whole = ring(7, 150)
    model = replace(whole, seen_photo=seen[:, 0], seen_point=seen[:, 1], pixels=np.zeros((len(seen), 2)))
    sound = sound_parts(model)
    assert [group.names for group in sound.groups] == [
        ("p0.jpg", "p1.jpg", "p2.jpg"),
        ("p3.jpg", "p4.jpg", "p5.jpg"),
    ]
    assert sound.loose == ("p6.jpg",)
    assert len(sound.groups[0].points) == n_each
