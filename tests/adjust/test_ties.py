"""What must meet in a point.  Oracles: conditioning of a normal vector by hand, definitions."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from slopewright.adjust import AdjustConfig, run
from slopewright.adjust.model import SHARED, Model, linearised, with_differences
from slopewright.adjust.solve import adjust
from slopewright.adjust.ties import TIE_SD_M, Ties, misfit
from slopewright.roof import Frame, Roof
from slopewright.scene import (
    Boundary,
    Corner,
    Curve,
    EdgeKind,
    PlaneSegment,
    PlanVertex,
    RoofPoints,
    Segmentation,
    Topology,
    TracedEdge,
    TracedFace,
)

HALF_M, SLOPE = 4.0, 0.5
OUT = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])  # of the four eaves of a square
SHARED_SD = (0.025, 2e-4, 5e-4, 5e-4)


def pyramid(lift_m: float) -> tuple[Segmentation, Topology]:
    """Four planes over a square that meet in a point, but the first is `lift_m` too high."""
    planes = tuple(
        PlaneSegment(
            centroid=np.array([*(HALF_M / 2 * out), HALF_M / 2 * SLOPE + (lift_m if k == 0 else 0.0)]),
            normal=np.array([*(SLOPE * out), 1.0]) / np.hypot(SLOPE, 1.0),
            covariance=np.diag([0.003**2, 0.003**2, 0.01**2]),
            n_points=500,
            rms_m=0.02,
            area_m2=HALF_M**2 * np.hypot(SLOPE, 1.0),
        )
        for k, out in enumerate(OUT)
    )
    boundaries = tuple(
        Boundary(
            point=HALF_M * out,
            angle_rad=float(np.arctan2(out[1], out[0])),
            covariance=np.diag([0.01**2, 0.002**2]),
            observed=1.0,
        )
        for out in OUT
    )
    eave = [Curve(boundary=k) for k in range(4)]
    hip = [Curve(planes=(min(k, (k + 1) % 4), max(k, (k + 1) % 4))) for k in range(4)]
    corner = [HALF_M * (OUT[k] + OUT[(k + 1) % 4]) for k in range(4)]  # between faces k and k + 1
    vertices = (
        *(PlanVertex(curves=(eave[k], eave[(k + 1) % 4], hip[k]), xy=corner[k]) for k in range(4)),
        PlanVertex(curves=tuple(hip), xy=np.zeros(2)),
    )
    corners = (
        *(Corner(vertex=k, planes=tuple(sorted((k, (k + 1) % 4)))) for k in range(4)),
        Corner(vertex=4, planes=(0, 1, 2, 3)),
    )
    edges = (
        *(
            TracedEdge(kind=EdgeKind.EAVE, start=(k - 1) % 4, end=k, planes=(k,), curve=eave[k], observed=1.0)
            for k in range(4)
        ),
        *(
            TracedEdge(
                kind=EdgeKind.HIP,
                start=k,
                end=4,
                planes=tuple(sorted((k, (k + 1) % 4))),
                curve=hip[k],
                observed=1.0,
            )
            for k in range(4)
        ),
    )
    faces = tuple(TracedFace(plane=k, loops=(((k - 1) % 4, k, 4),), observed=1.0) for k in range(4))
    segmentation = Segmentation(
        planes=planes, labels=np.full(4, -1, dtype=np.int32), noise_m=0.02, spacing_m=0.2, correlation_m=1.0
    )
    topology = Topology(boundaries=boundaries, vertices=vertices, corners=corners, edges=edges, faces=faces)
    return segmentation, topology


def prior(model: Model, segmentation: Segmentation, topology: Topology) -> np.ndarray:
    covariance = np.zeros((model.size, model.size))
    blocks = [p.covariance for p in segmentation.planes] + [b.covariance for b in topology.boundaries]
    at = 0
    for block in blocks:
        covariance[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    covariance[at:, at:] = np.diag(np.square(SHARED_SD))
    return covariance


def adjusted_roof(lift_m: float) -> Roof:
    segmentation, topology = pyramid(lift_m)
    points = RoofPoints(
        id="r1",
        xyz=np.zeros((4, 3)),
        indices=np.arange(4),
        context=np.empty((0, 3)),
        footprint=HALF_M * np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]),
        area_m2=4 * HALF_M**2,
        ground_z_m=None,
    )
    return run(points, segmentation, topology, Frame(origin=np.zeros(3)), AdjustConfig())


def test_a_pyramid_that_fits_stays_as_it_is():
    """Closed form: 64 m² of plan times the slope factor; hips of (4, 4, 2) m are 6 m."""
    roof = adjusted_roof(0.0)
    assert roof.area.value == pytest.approx(64 * np.hypot(0.5, 1.0), rel=1e-9)
    assert [e.length.value for e in roof.edges if e.kind == EdgeKind.HIP] == pytest.approx([6.0] * 4)
    assert roof.notices == ()


@pytest.mark.parametrize("lift_m", [0.01, 0.03, 0.05])
def test_four_planes_meet_in_a_point_after_the_ties(lift_m):
    """Within 2 mm at every corner, though one plane was off by `lift_m` before."""
    segmentation, topology = pyramid(lift_m)
    model = Model(segmentation.planes, topology)
    before = model.shape(model.start[None])
    found = adjust(model, model.start, prior(model, segmentation, topology))
    after = model.shape(found.vector[None])
    assert np.abs(before.spread).max() == pytest.approx(lift_m / 4)  # from the mean of the four
    assert np.abs(after.spread).max() < 0.002
    assert np.abs(after.misses).max() < 0.002
    assert found.refused == ()


def test_a_tie_takes_uncertainty_away_and_adds_none():
    """Definition of conditioning: no variance grows where no tie fails; those of the tied planes shrink."""
    segmentation, topology = pyramid(0.01)
    model = Model(segmentation.planes, topology)
    covariance = prior(model, segmentation, topology)
    found = adjust(model, model.start, covariance)
    before, after = np.diag(covariance), np.diag(found.covariance)
    assert (after <= before * (1 + 1e-9)).all()
    assert (after[2:12:3] < 0.9 * before[2:12:3]).all()  # heights of the planes
    assert np.linalg.eigvalsh(found.covariance)[0] > -1e-15
    np.testing.assert_array_equal(found.covariance, found.covariance.T)


@pytest.mark.parametrize("lift_m", [0.0, 0.03, 0.15])
def test_what_all_share_is_neither_moved_nor_better_known(lift_m):
    """Definition of a considered parameter: bleed, scale and tilt keep value and variance."""
    segmentation, topology = pyramid(lift_m)
    model = Model(segmentation.planes, topology)
    covariance = prior(model, segmentation, topology)
    found = adjust(model, model.start, covariance)
    n = len(SHARED)
    np.testing.assert_array_equal(found.vector[-n:], model.start[-n:])
    np.testing.assert_allclose(found.covariance[-n:, -n:], covariance[-n:, -n:], rtol=1e-12, atol=1e-18)


def test_the_update_is_the_conditional_normal_distribution():
    """Closed form of a conditioned normal vector.

    Heights only are free, and at the peak all four must be one.
    """
    segmentation, topology = pyramid(0.01)
    model = Model(segmentation.planes, topology)
    covariance = np.zeros((model.size, model.size))
    covariance[2:12:3, 2:12:3] = 0.01**2 * np.eye(4)
    found = adjust(model, model.start, covariance)
    # closed form: equal variances, equal heights: their mean, with a quarter of the variance
    heights = found.vector[2:12:3] - model.start[2:12:3]
    assert heights == pytest.approx([0.0025 - 0.01, 0.0025, 0.0025, 0.0025], abs=3e-4)
    assert np.diag(found.covariance)[2:12:3] == pytest.approx([0.01**2 / 4] * 4, abs=2 * TIE_SD_M**2)


def test_ties_that_fail_widen_what_they_touch():
    """A plane that is 30 standard deviations off leaves all of them less sure than if they had agreed."""
    sure, strained = adjusted_roof(0.0), adjusted_roof(0.3)
    assert strained.planes[0].pitch_deg.u > 1.5 * sure.planes[0].pitch_deg.u
    assert "corner_open" not in {notice.code for notice in strained.notices}


def test_a_tie_that_is_off_by_more_than_a_construction_is_refused_and_told():
    segmentation, topology = pyramid(0.8)
    model = Model(segmentation.planes, topology)
    found = adjust(model, model.start, prior(model, segmentation, topology))
    assert 4 in found.refused  # the peak
    (notice,) = [n for n in adjusted_roof(0.8).notices if n.code == "corner_open"]
    assert notice.text.startswith(f"at {len(found.refused)} corner(s)")


def test_scale_goes_into_areas_twice_and_into_lengths_once():
    """Definition: all lengths times (1 + e) make all areas times (1 + e)², fully correlated."""
    segmentation, topology = pyramid(0.0)
    roof = adjusted_roof(0.0)
    share = {part.source: part.area_share for part in roof.budget}["scale"]
    assert np.sqrt(share) * roof.area.u == pytest.approx(2 * 2e-4 * roof.area.value, rel=1e-3)
    model = Model(segmentation.planes, topology)
    longer = model.start.copy()
    longer[-3] = 0.01
    both = np.stack([model.start, longer])
    shape = model.shape(both)
    length, area = model.lengths(both, shape), model.plan_areas(both, shape)
    assert length[1] / length[0] == pytest.approx(1.01)
    assert area[1] / area[0] == pytest.approx(1.01**2)


def test_a_tilt_turns_the_whole_roof():
    """Oracle: scipy's Rotation of all planes about the mean of their centroids.

    A tilt of (0.004, -0.003) leans a level plane by that gradient; what is left is of second order.
    """
    segmentation, topology = pyramid(0.0)
    model = Model(segmentation.planes, topology)
    tilt = np.array([0.004, -0.003])
    leaning = model.start.copy()
    leaning[-2:] = tilt
    a, b, c = model.coefficients(leaning[None])[0].T
    turn = Rotation.from_rotvec([tilt[1], -tilt[0], 0.0])
    middle = np.mean([p.centroid for p in segmentation.planes], axis=0)
    normal = turn.apply(np.array([p.normal for p in segmentation.planes]))
    centroid = middle + turn.apply(np.array([p.centroid for p in segmentation.planes]) - middle)
    second_order = float(tilt @ tilt)
    np.testing.assert_allclose(a, -normal[:, 0] / normal[:, 2], atol=second_order)
    np.testing.assert_allclose(b, -normal[:, 1] / normal[:, 2], atol=second_order)
    height = a * centroid[:, 0] + b * centroid[:, 1] + c
    np.testing.assert_allclose(height, centroid[:, 2], atol=second_order * HALF_M)


def test_ties_of_planes_as_uncertain_as_they_say_fail_as_seldom_as_the_limit_has_it():
    """Oracle: the binomial distribution, of 600 pyramids with five corners each.

    The rank of the conditions is one at each corner here: three or four lines and heights, one freedom.
    """
    n_roofs, n_widened = 600, 0
    rng = np.random.default_rng(5)
    segmentation, topology = pyramid(0.0)
    model = Model(segmentation.planes, topology)
    covariance = prior(model, segmentation, topology)
    free = covariance[: -len(SHARED), : -len(SHARED)]
    ties = Ties(model)
    limit_of_test = 0.05
    for _ in range(n_roofs):
        vector = model.start.copy()
        vector[: len(free)] += rng.multivariate_normal(np.zeros(len(free)), free)
        batch, step = with_differences(model, vector)
        residual, slope = linearised(ties.residuals(model.shape(batch)), step)
        for v in np.unique(ties.owner):
            n_widened += (
                misfit(residual[ties.owner == v], slope[ties.owner == v], covariance)[0] < limit_of_test
            )
    expected = 5 * n_roofs * limit_of_test
    assert abs(n_widened - expected) < 4 * np.sqrt(expected)  # corners share planes: variance up to twice
