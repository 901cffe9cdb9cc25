"""Eaves and rakes by the photos: against the exact edges of a cast house, and on made-up strips."""

from __future__ import annotations

import numpy as np
import pytest
import rendered_houses as house

from conftest import PIXEL_M, Measured
from slopewright.photos import boundaries, peak
from slopewright.photos.model import Block
from slopewright.photos.sight import Faces
from slopewright.scene import Array, Topology


def off_by(topology: Topology) -> dict[str, tuple[float, float]]:
    """How far outside of the exact lines free boundaries lie, and what their covariance says."""
    found = {}
    for boundary in topology.boundaries:
        if boundary.observed == 0:
            continue
        normal = np.array([np.cos(boundary.angle_rad), np.sin(boundary.angle_rad)])
        for name, (out, offset) in house.FREE_LINES.items():
            away = float(boundary.point @ np.array(out)) - offset
            if normal @ np.array(out) > 0.99 and abs(away) < 0.5:
                found[name] = (away, float(np.hypot(boundary.covariance[0, 0] ** 0.5, topology.bleed_sd_m)))
    return found


def test_photos_place_all_free_edges(measured: Measured) -> None:
    """Oracle: the lines from which the photos were cast; half a pixel, and three times what is said."""
    found = off_by(measured.placed)
    assert set(found) == set(house.FREE_LINES)
    for name, (away, u) in found.items():
        assert abs(away) < PIXEL_M / 2, name
        assert abs(away) < 3 * u, name
        assert u < PIXEL_M, name
    before = off_by(measured.traced)
    assert np.sqrt(np.mean([e**2 for e, _ in found.values()])) < 0.5 * np.sqrt(
        np.mean([e**2 for e, _ in before.values()])
    )


def test_area_pitch_and_bounds_from_photos_to_roof(measured: Measured) -> None:
    """Oracle: shoelace formula and gradients of the exact faces; 0.5 % and 0.1 degrees, as asked for."""
    roof, truth = measured.roof, house.areas()
    assert len(roof.planes) == len(truth)
    assert roof.area.value == pytest.approx(sum(truth.values()), rel=0.005)
    assert roof.area.low < sum(truth.values()) < roof.area.high
    for name, (a, b, _) in house.PLANES.items():
        normal = np.array([-a, -b, 1.0]) / np.sqrt(1 + a * a + b * b)
        plane = max(roof.planes, key=lambda p: float(p.normal @ normal))
        assert plane.pitch_deg.value == pytest.approx(np.rad2deg(np.arctan(np.hypot(a, b))), abs=0.1), name
        assert plane.area.value == pytest.approx(truth[name], rel=0.015), name


def test_the_edges_stage_s_own_shift_is_neither_kept_nor_told(measured: Measured) -> None:
    assert measured.placed.bleed_sd_m < 0.015
    assert all(notice.code != "edges_moved_in" for notice in measured.placed.notices)


def test_edges_that_photos_do_not_show_stay_and_are_told(measured: Measured, cast: Block) -> None:
    """Photos of the north only: the cloud's own edges, with a notice."""
    nobody = boundaries.run(
        Block(
            photos=cast.photos[:1],
            points=cast.points,
            seen_point=cast.seen_point,
            seen_photo=cast.seen_photo,
            origin=np.zeros(3),
            crs=None,
            scale_u=0.0,
            tilt_u_rad=0.0,
            scale_from="",
            level_from="",
        ),
        measured.segmentation,
        measured.traced,
    )
    assert nobody.boundaries == measured.traced.boundaries
    assert nobody.notices[-1].code == "edges_not_in_photos"


T = np.arange(-50, 51) * 0.005
PIXEL = 0.02


def strips(
    rng: np.random.Generator,
    at: float,
    *,
    n_photos: int = 6,
    n_chunks: int = 8,
    turn: float = 0.0,
    spread: float = 0.0,
    second: float | None = None,
) -> tuple[Array, Array]:
    """Colours of a dark plane that ends at a place; what is behind it has borders elsewhere in each photo."""
    s = np.arange(n_chunks) + 0.5 - n_chunks / 2
    colour = np.zeros((n_photos, n_chunks, len(T), 3))
    for i in range(n_photos):
        stray = rng.normal(0, spread)
        behind = rng.uniform(0.02, 0.25)
        for c in range(n_chunks):
            edge = at + turn * s[c] + stray
            grey = 80 + 60 / (1 + np.exp(-(T - edge) / (0.25 * PIXEL)))
            grey = grey + 40 / (1 + np.exp(-(T - edge - behind) / (0.25 * PIXEL)))
            if second is not None:
                grey = grey + 60 / (1 + np.exp(-(T - second) / (0.25 * PIXEL)))
            colour[i, c] = (grey + rng.normal(0, 1.0, len(T)))[:, None]
    return colour, s


def line_of(colour: Array, s: Array) -> peak.Line | None:
    made = peak.shares(colour, T, np.full(len(colour), PIXEL))
    return peak.best_line(made, T, s, np.ones(len(s)), PIXEL, 0.08)


@pytest.mark.parametrize("at", [-0.08, 0.0, 0.05])
@pytest.mark.parametrize("turn", [0.0, 0.004])
def test_a_step_is_found_where_it_is(at: float, turn: float) -> None:
    """Oracle: where the colours were made to change; a tenth of a pixel."""
    line = line_of(*strips(np.random.default_rng(1), at, turn=turn))
    assert line is not None
    assert line.offset_m == pytest.approx(at, abs=0.1 * PIXEL)
    assert line.turn_rad == pytest.approx(turn, abs=0.001)
    assert line.support == 1.0


def test_a_second_step_widens_the_doubt() -> None:
    """A gutter 7 cm outside, as strong as the edge: the doubt reaches there."""
    rng = np.random.default_rng(2)
    alone, both = line_of(*strips(rng, 0.0)), line_of(*strips(rng, 0.0, second=0.07))
    assert alone is not None and both is not None
    assert alone.covariance[0, 0] < 0.01**2
    assert both.covariance[0, 0] > 0.03**2


def test_nothing_is_found_where_nothing_is() -> None:
    rng = np.random.default_rng(3)
    noise = rng.normal(100, 1.0, (6, 8, len(T), 3))
    assert line_of(noise, np.arange(8.0)) is None


def test_one_photo_places_no_edge() -> None:
    assert line_of(*strips(np.random.default_rng(4), 0.0, n_photos=1)) is None


def test_bounds_hold_when_photos_stray() -> None:
    """Oracle: Monte Carlo, 60 edges, photos that stray by 2 cm: 95 % within two u, binomial s.d. 3 %."""
    rng = np.random.default_rng(5)
    ratios = []
    for _ in range(60):
        line = line_of(*strips(rng, 0.02, spread=0.02, n_photos=8, n_chunks=4))
        assert line is not None
        ratios.append((line.offset_m - 0.02) / np.sqrt(line.covariance[0, 0]))
    assert np.mean(np.abs(ratios) < 2.0) > 0.86
    assert np.std(ratios) > 0.4  # and they are no wider than needed by far


def test_a_face_hides_what_lies_behind_it() -> None:
    """Oracle: similar triangles: a level square of 2 m at 1 m, seen from 3 m, hides 3 m of the ground."""
    square = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])
    faces = Faces(normals=np.array([[0.0, 0, 1]]), offsets=np.array([1.0]), rings=[[square]])
    eye = np.array([0.0, 0.0, 3.0])
    x = np.array([0.0, 1.0, 1.49, 1.51, 3.0])
    ground = np.column_stack([x, np.zeros(5), np.zeros(5)])
    assert faces.hide(eye, ground).tolist() == [True, True, True, False, False]
    assert not faces.hide(eye, ground, own=0).any()
