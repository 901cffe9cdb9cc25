"""A length whose end may be cut otherwise says so, until it is measured.  Oracle: sums of variances."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from simulate import photogrammetry, random_roof, roof_points_of
from simulate.segmented import true_segmentation
from slopewright import adjust, edges
from slopewright.roof import Frame
from slopewright.scene import EdgeKind
from slopewright.state import FixLength

DOUBT_M = 0.8
FRAME = Frame(origin=np.zeros(3), ground_z_m=0.0)


@cache
def _measured(doubt_m):
    """A gable from all but exact points, each of its ridges doubtful by so much."""
    truth = random_roof("gable", np.random.default_rng([2, 1]))
    rng = np.random.default_rng([2, 3])
    cloud = photogrammetry(truth, rng, density=40.0, noise_m=0.005, bleed_m=0, holes=0, skirts=0, round_m=0)
    points = roof_points_of(cloud, truth)
    segmentation = true_segmentation(points, cloud, truth, spacing_m=1 / np.sqrt(40.0))
    topology = edges.run(points, segmentation)
    doubtful = [
        replace(edge, ambiguous_m=doubt_m if edge.kind == EdgeKind.RIDGE else 0.0) for edge in topology.edges
    ]
    return adjust.run(points, segmentation, replace(topology, edges=tuple(doubtful)), FRAME)


def _ridge(roof):
    return next(edge for edge in roof.edges if edge.kind == EdgeKind.RIDGE)


def test_a_doubt_of_how_the_plan_is_cut_adds_to_the_variance_of_the_length_and_of_its_kind():
    sure, doubtful = _measured(0.0), _measured(DOUBT_M)
    expected = np.hypot(_ridge(sure).length.u, DOUBT_M)
    assert _ridge(doubtful).length.u == pytest.approx(expected, rel=1e-9)
    assert doubtful.edge_totals[EdgeKind.RIDGE].u == pytest.approx(expected, rel=1e-9)
    assert doubtful.edge_totals[EdgeKind.EAVE].u == pytest.approx(sure.edge_totals[EdgeKind.EAVE].u, rel=1e-9)
    assert doubtful.area.u == pytest.approx(sure.area.u, rel=1e-9)


def test_edges_that_may_be_cut_otherwise_are_named():
    def named(roof):
        return [notice.about for notice in roof.notices if notice.code == "edge_ambiguous"]

    assert named(_measured(0.0)) == []
    doubtful = _measured(3.0)
    assert named(doubtful) == [(_ridge(doubtful).id,)]


def test_a_length_that_was_measured_is_no_longer_in_doubt():
    roof = _measured(DOUBT_M)
    ridge = _ridge(roof)
    taped = adjust.apply(roof, FixLength(edge=ridge.id, length_m=ridge.length.value, u_m=0.01))
    assert _ridge(taped).length.u < 0.011
