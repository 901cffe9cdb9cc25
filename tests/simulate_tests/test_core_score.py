"""The scores of the core's study on roofs whose faults are known by construction."""

import math

import numpy as np
import pytest

from benchmarks.core_score import failed, judge, overlaps, scored
from simulate import as_measured, random_roof, shapes

PLAIN = {"length_m": 12.0, "span_m": 10.0, "pitch_rad": math.atan(9 / 12)}
GABLE = shapes.gable(**PLAIN)
DORMER = shapes.gable_dormer(
    **PLAIN, dormer_width_m=2.0, dormer_pitch_rad=math.atan(9 / 12), dormer_front_m=0.6, dormer_wall_m=1.0
)


def verdict(truth, measured, least_m2=0.0):
    roof = as_measured(measured)
    return judge(truth, roof, *overlaps(truth, roof), least_m2)


@pytest.mark.parametrize("kind", ["composite", "two_level", "chimney_cricket"])
def test_the_truth_itself_is_without_fault(kind):
    truth = random_roof(kind, np.random.default_rng(1))
    row = scored(truth, as_measured(truth), 0.0)
    assert row["faults"] == "" and row["faults_any"] == 0
    assert all(fine for _, fine in row["true_faces"]) and all(fine for _, fine in row["measured_faces"])
    found, true, right, measured = row["edge_sums"]
    assert (found, right, measured) == pytest.approx((true, true, true))
    assert max(row["corners"]) < 1e-5
    assert row["area_error"] == pytest.approx(0, abs=1e-9)
    assert all(abs(score) < 1e-6 and inside for *_, score, inside in row["pitches"] + row["lengths"])


def test_a_dormer_that_was_not_seen_is_missed_and_merged_into_its_slope():
    small = [k for k, p in enumerate(DORMER.planes) if p.area_m2 < 10]
    found = verdict(DORMER, GABLE)
    assert set(found.missed) == set(small)
    assert len(found.merged) == 1
    assert (found.invented, found.split) == ((), ())


def test_a_dormer_that_is_not_there_is_invented_and_splits_its_slope():
    found = verdict(GABLE, DORMER)
    assert len(found.invented) == 2
    assert len(found.split) == 1
    assert (found.missed, found.merged) == ((), ())


def test_faces_below_the_least_size_are_no_fault():
    assert verdict(DORMER, GABLE, 20.0).n_faults == 0
    assert verdict(GABLE, DORMER, 20.0).n_faults == 0


def test_a_face_six_degrees_off_is_missed_and_invented():
    """The limit is 5 degrees between the normals."""
    steeper = shapes.gable(**PLAIN | {"pitch_rad": PLAIN["pitch_rad"] + math.radians(6)})
    close = shapes.gable(**PLAIN | {"pitch_rad": PLAIN["pitch_rad"] + math.radians(4)})
    assert len(verdict(GABLE, steeper).missed) == len(verdict(GABLE, steeper).invented) == 2
    assert verdict(GABLE, close).n_faults == 0


def test_a_kind_of_edge_that_was_not_measured_has_no_bound_that_holds():
    row = scored(DORMER, as_measured(GABLE), 0.0)
    valley = next(x for x in row["lengths"] if x[0] == "valley")
    assert valley[2] == 0.0 and not valley[4]


def test_nothing_measured_is_everything_missed():
    row = failed(DORMER, "no roof")
    assert not any(fine for _, fine in row["true_faces"])
    assert row["edge_sums"][1] == pytest.approx(sum(e.length_m for e in DORMER.edges))
