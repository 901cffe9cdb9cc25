"""What all free edges share.  Oracles: creases smoothed by the integral of a box; clouds of known growth."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from simulate import airborne, photogrammetry, roof_points_of, shapes
from simulate.segmented import true_segmentation
from slopewright import edges
from slopewright.edges.bleed import (
    BEAM_SD_M,
    MATCHED_M,
    MATCHED_ODDS,
    MATCHED_SD_M,
    NEAR_M,
    RETURNS_SD_M,
    ROUND_M,
    matched_share,
)
from slopewright.scene import Topology

HOUSE = shapes.hip(length_m=13, span_m=9, pitch_rad=np.arctan2(7, 12))


def chunks(mean_m: float, sd_m: float, n: int = 40) -> np.ndarray:
    rng = np.random.default_rng(3)
    return np.column_stack([rng.normal(mean_m, sd_m, n), np.full(n, 1.0)])


def box_drop(half_m: float) -> float:
    """Mean drop near a ridge of unit jump of slope under a box of this half-width, by integration."""

    def smoothed(d: float) -> float:
        return quad(lambda t: abs(d + t) / 2, -half_m, half_m, points=[-d])[0] / (2 * half_m)

    return quad(lambda d: smoothed(d) - d / 2, 0, min(NEAR_M, half_m))[0] / NEAR_M


@pytest.mark.parametrize("half_m", [0.06, 0.1, 0.18])
def test_a_crease_rounded_by_a_box_speaks_for_matching(half_m):
    assert ROUND_M.min() <= half_m <= ROUND_M.max()
    assert matched_share(chunks(box_drop(half_m), 0.004)) > 0.98


def test_sharp_creases_speak_against_matching():
    assert matched_share(chunks(0.0, 0.003)) < 0.1


def test_noise_that_drowns_the_creases_leaves_the_prior():
    assert matched_share(chunks(0.0, 1.0)) == pytest.approx(MATCHED_ODDS, abs=0.05)
    assert matched_share(np.empty((0, 2))) == MATCHED_ODDS


def traced(cloud, spacing_m: float) -> Topology:
    points = roof_points_of(cloud, HOUSE)
    return edges.run(points, true_segmentation(points, cloud, HOUSE, spacing_m=spacing_m))


def mean_offset(topology: Topology) -> float:
    """Mean distance outward of the eaves from the true ones [m]: a shift of the whole roof cancels."""
    ring = np.array(HOUSE.footprint.exterior.coords)
    found = []
    for boundary in topology.boundaries:
        if boundary.observed == 0:
            continue  # a hip's line, which bounds nothing
        square = np.pi / 2 * round(boundary.angle_rad / (np.pi / 2))  # the house stands along the axes
        normal = np.array([np.cos(square), np.sin(square)])
        found.append(float(boundary.point @ normal - (ring @ normal).max()))
    return float(np.mean(found))


def test_matched_clouds_are_moved_in_by_what_windows_grow():
    """Growth of 2, 4.5 and 7 cm: the edges are those of the true roof within two stated uncertainties."""
    for bleed_m in (0.02, 0.045, 0.07):
        cloud = photogrammetry(HOUSE, np.random.default_rng(1), density=300, bleed_m=bleed_m, round_m=0.1)
        topology = traced(cloud, 300**-0.5)
        assert topology.bleed_sd_m == pytest.approx(MATCHED_SD_M, rel=0.1)
        assert mean_offset(topology) == pytest.approx(bleed_m - MATCHED_M, abs=0.012)
        assert [n.code for n in topology.notices] == ["edges_moved_in"]
        assert "4.5 cm" in topology.notices[0].text


def test_close_scans_are_left_where_they_are():
    sharp = {"bleed_m": 0.0, "round_m": 0.0, "skirts": 0.0, "noise_m": 0.006, "correlated": 0.1}
    topology = traced(photogrammetry(HOUSE, np.random.default_rng(1), density=400, **sharp), 0.05)
    assert topology.bleed_sd_m < MATCHED_SD_M
    assert abs(mean_offset(topology)) < 0.006


@pytest.mark.parametrize("detect", [0.15, 0.45])
def test_returns_place_the_edges_of_a_wide_beam(detect):
    """A beam of 0.4 m adds up to 10 cm all round: counted returns take it back, else a doubt is stated."""
    looks = {"looks_rad": [0.1, -0.1], "strip_shift_m": 0.0, "noise_m": 0.03}
    cloud = airborne(HOUSE, np.random.default_rng(2), density=25, beam_m=0.4, detect=detect, **looks)
    topology = traced(cloud, 0.2)
    assert topology.bleed_sd_m == pytest.approx(RETURNS_SD_M, rel=0.3)
    assert abs(mean_offset(topology)) < 2 * RETURNS_SD_M

    points = roof_points_of(cloud, HOUSE)
    segmentation = true_segmentation(points, cloud, HOUSE, spacing_m=0.2)
    blind = edges.run(replace(points, n_returns=None, return_number=None), segmentation)
    assert blind.bleed_sd_m == pytest.approx(BEAM_SD_M, rel=0.1)
    assert abs(mean_offset(blind)) < 3 * BEAM_SD_M
    assert [n.code for n in blind.notices] == ["no_returns"]
