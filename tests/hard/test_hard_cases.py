"""The whole way on clouds that something is wrong with: flagged, refused with the reason, or right.

Oracle: the simulator's exact roof, and what was done to its cloud.  tests/benchmarks/hard_study.py
has many more.
"""

import pytest

from benchmarks.hard_study import one

NOT_CERTIFIED = 3


@pytest.mark.parametrize(
    ("case", "capture", "seed", "flag"),
    [
        ("gable_cut", "lidar 8", 3, "cloud_ends"),
        ("cut_through", "lidar 25", 4, "cloud_ends"),
        ("fifth_seen", "lidar 8", 0, "cloud_ends"),
        ("trees", "lidar 25", 4, "under_cover"),
    ],
)
def test_a_roof_of_which_the_cloud_shows_a_part_is_not_certified(case, capture, seed, flag, tmp_path):
    row = one(case, capture, seed, tmp_path)
    assert row.status == NOT_CERTIFIED
    assert flag in row.flags
    assert "the roof may go on" in row.message


@pytest.mark.parametrize(("capture", "seed"), [("lidar 8", 3), ("lidar 25", 4), ("drone 200", 2)])
def test_a_sound_cloud_is_certified_and_holds_its_bounds(capture, seed, tmp_path):
    row = one("unspoiled", capture, seed, tmp_path)
    assert row.status == 0
    assert not {"cloud_ends", "under_cover", "left_out", "holes", "bent", "parallel_step"} & set(row.flags)
    assert row.area_holds


def test_a_roof_cut_out_along_its_edge_is_taken_on_trust_and_says_so(tmp_path):
    row = one("cropped", "lidar 25", 4, tmp_path)
    assert row.status == 0
    assert "outline_on_trust" in row.flags
    assert row.area_holds


def test_the_edge_of_a_level_roof_is_found_whatever_its_bearing(tmp_path):
    """It has no azimuth; its outline has one."""
    row = one("flat", "lidar 8", 3, tmp_path)
    assert row.status == 0
    assert row.area_holds


def test_panels_over_a_face_are_told(tmp_path):
    assert "parallel_step" in one("panels", "lidar 25", 22, tmp_path).flags


def test_a_bent_scene_is_told(tmp_path):
    assert "bent" in one("bowl", "lidar 25", 25, tmp_path).flags


@pytest.mark.parametrize("case", ["echoes", "doubled"])
def test_echoes_from_below_and_repeated_points_do_not_harm(case, tmp_path):
    row = one(case, "lidar 8", 42, tmp_path)
    assert row.status == 0
    assert row.area_holds


@pytest.mark.parametrize(
    ("case", "capture", "seed", "flag"),
    [
        ("parapet", "lidar 8", 60, "upstand"),
        ("in_feet", "lidar 25", 40, "unit_doubtful"),
        ("thinned", "lidar 8", 61, "too_sparse"),
        ("flat_cropped", "lidar 8", 0, "may_be_ground"),
    ],
)
def test_what_the_cloud_cannot_decide_is_told(case, capture, seed, flag, tmp_path):
    assert flag in one(case, capture, seed, tmp_path).flags


@pytest.mark.parametrize("case", ["noisy", "one_line", "dome", "vault"])
def test_what_is_no_roof_is_refused_in_one_line(case, tmp_path):
    row = one(case, "lidar 8", 0, tmp_path)
    assert row.status == 2
    assert "need" in row.message or "--footprint" in row.message
