"""Edges and adjustment of roofs whose planes are known.  Oracles: the simulator's exact roofs, invariances.

Points are dense and all but free of noise, so that what is left is the work of these two stages.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from simulate import Comparison, TrueRoof, compare_roof, move, photogrammetry, random_roof, roof_points_of
from simulate.segmented import true_segmentation
from slopewright import adjust, edges
from slopewright.measurement import COVERAGE_95
from slopewright.roof import Frame, Roof
from slopewright.scene import EdgeKind, RoofPoints, Segmentation, Topology

KINDS = (
    "gable",
    "hip",
    "shed",
    "cross_gable",
    "two_level",
    "pyramid",
    "l_hip",
    "mansard",
    "gambrel",
    "porch",
)
DENSITY = 60.0
CREASES = (EdgeKind.RIDGE, EdgeKind.HIP, EdgeKind.VALLEY, EdgeKind.PITCH_BREAK)


@cache
def true_roof(kind: str) -> TrueRoof:
    return random_roof(kind, np.random.default_rng([1, 1]))


@cache
def seen(kind: str) -> tuple[RoofPoints, Segmentation]:
    """Points and planes of one roof of a kind."""
    truth = true_roof(kind)
    rng = np.random.default_rng([1, 3])
    cloud = photogrammetry(
        truth, rng, density=DENSITY, noise_m=0.001, bleed_m=0, holes=0, skirts=0, round_m=0
    )
    points = roof_points_of(cloud, truth)
    points = replace(points, n_returns=np.ones(len(points.xyz), dtype=np.uint8))  # no beam meets two things
    return points, true_segmentation(points, cloud, truth, spacing_m=1 / np.sqrt(DENSITY))


def measured(points: RoofPoints, segmentation: Segmentation) -> tuple[Topology, Roof]:
    topology = edges.run(points, segmentation)
    frame = Frame(origin=np.zeros(3), ground_z_m=points.ground_z_m)
    return topology, adjust.run(points, segmentation, topology, frame)


@cache
def roof_of(kind: str) -> Roof:
    return measured(*seen(kind))[1]


@cache
def compared(kind: str) -> Comparison:
    return compare_roof(roof_of(kind), true_roof(kind))


@pytest.mark.parametrize("kind", KINDS)
def test_every_face_is_found_and_no_other(kind):
    assert compared(kind).missed == ()
    assert compared(kind).false == ()
    assert len(roof_of(kind).planes) == len(true_roof(kind).planes)


@pytest.mark.parametrize("kind", KINDS)
def test_edges_have_their_kinds_and_lengths(kind):
    """Total length of each kind within 1 %, and none of a kind that the roof has not."""
    for name, score in compared(kind).edges.items():
        assert score.measured_m == pytest.approx(score.true_m, rel=0.01), name
        assert score.f1 > 0.98, name


@pytest.mark.parametrize("kind", KINDS)
def test_area_pitch_and_azimuth(kind):
    result = compared(kind)
    assert result.area_error == pytest.approx(0.0, abs=0.003)
    for face in result.faces:
        assert abs(np.rad2deg(face.pitch_rad)) < 0.1
        assert not abs(np.rad2deg(face.azimuth_rad)) > 0.3  # nan for a level face
    assert result.bound("area").holds


@pytest.mark.parametrize("kind", KINDS)
def test_faces_share_the_corners_of_their_creases_and_lie_on_their_planes(kind):
    """Both ends of a crease are corners of both faces; corners are on each plane within 2 mm."""
    roof = roof_of(kind)
    assert "corner_open" not in {notice.code for notice in roof.notices}
    loops = {p.id: {row for loop in p.loops for row in loop} for p in roof.planes}
    creases = [edge for edge in roof.edges if edge.kind in CREASES]
    assert all(len(edge.planes) == 2 for edge in creases)
    for edge in creases:
        for name in edge.planes:
            assert {edge.start, edge.end} <= loops[name]
    for edge in roof.edges:
        if edge.kind not in CREASES:
            assert len(edge.planes) == 1
    for plane in roof.planes:
        for loop in plane.loops:
            assert np.abs(roof.ring(loop) @ plane.normal - plane.offset).max() < 0.002


@pytest.mark.parametrize("kind", KINDS)
def test_lengths_and_areas_are_those_of_the_corners(kind):
    """Oracle: distance of two corners, and the vector area of each face's rings."""
    roof = roof_of(kind)
    for edge in roof.edges:
        expected = np.linalg.norm(roof.vertices[edge.end] - roof.vertices[edge.start])
        assert edge.length.value == pytest.approx(expected, abs=1e-9)
    for plane in roof.planes:
        total = np.zeros(3)
        for loop in plane.loops:
            ring = roof.ring(loop) - roof.ring(loop)[0]
            total += np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0) / 2
        assert plane.plan_area.value == pytest.approx(total[2], abs=1e-9)
        assert plane.area.value == pytest.approx(np.linalg.norm(total), rel=1e-3)  # corners within 2 mm
        assert plane.area.value == pytest.approx(plane.plan_area.value / plane.normal[2])


@pytest.mark.parametrize("kind", KINDS)
def test_there_is_one_covariance_for_all(kind):
    """Definition of a covariance, and of the uncertainty of a sum (JCGM 100:2008, 5.2)."""
    roof = roof_of(kind)
    joint = roof.joint
    np.testing.assert_array_equal(joint.covariance, joint.covariance.T)
    eigenvalues = np.linalg.eigvalsh(joint.covariance)
    assert eigenvalues[0] > -1e-9 * eigenvalues[-1]
    rows = [joint.names.index(f"area:{p.id}") for p in roof.planes]
    assert roof.area.value == pytest.approx(sum(p.area.value for p in roof.planes))
    assert roof.area.u**2 == pytest.approx(joint.covariance[np.ix_(rows, rows)].sum())
    assert roof.area.half_width == pytest.approx(COVERAGE_95 * roof.area.u)
    for row, plane in zip(rows, roof.planes, strict=True):
        assert plane.area.u**2 == pytest.approx(joint.covariance[row, row])
        assert plane.area.value == joint.values[row]
    for kind_, total in roof.edge_totals.items():
        assert total.value == pytest.approx(sum(e.length.value for e in roof.edges if e.kind == kind_))
    assert sum(m.value for _, m in roof.by_pitch) == pytest.approx(roof.area.value)
    assert sum(share.area_share for share in roof.budget) == pytest.approx(1.0)


@pytest.mark.parametrize("kind", ["cross_gable", "two_level"])
def test_the_order_of_points_does_not_matter(kind):
    """Exactly: every sum is taken in an order of its own."""
    points, segmentation = seen(kind)
    order = np.random.default_rng(8).permutation(len(points.xyz))
    shuffled = replace(
        points,
        xyz=points.xyz[order],
        indices=points.indices[order],
        context=points.context[::-1].copy(),
    )
    relabelled = Segmentation(
        planes=segmentation.planes,
        labels=segmentation.labels[order],
        noise_m=segmentation.noise_m,
        spacing_m=segmentation.spacing_m,
        correlation_m=segmentation.correlation_m,
    )
    _, again = measured(shuffled, relabelled)
    roof = roof_of(kind)
    np.testing.assert_array_equal(again.vertices, roof.vertices)
    np.testing.assert_array_equal(again.joint.covariance, roof.joint.covariance)
    assert [(e.kind, e.start, e.end, e.planes) for e in again.edges] == [
        (e.kind, e.start, e.end, e.planes) for e in roof.edges
    ]


@pytest.mark.parametrize(("kind", "degrees"), [("l_hip", 37.0), ("two_level", -110.0), ("gable", 90.0)])
def test_a_turned_and_shifted_cloud_is_the_same_roof(kind, degrees):
    """Rigid motion.  Areas to 0.1 %, not exactly: the cells that thin the points and count them do not turn
    with the roof, so that each eave is fitted to a few other points and moves by some 2 mm of 5 m."""
    points, segmentation = seen(kind)
    shift = np.array([31.0, -47.0, 6.0])
    turn = np.deg2rad(degrees)
    c, s = np.cos(turn), np.sin(turn)
    rotation = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    assert points.ground_z_m is not None
    moved_points = replace(
        points,
        xyz=points.xyz @ rotation.T + shift,
        context=points.context @ rotation.T + shift,
        footprint=points.footprint @ rotation[:2, :2].T + shift[:2],
        ground_z_m=points.ground_z_m + shift[2],
    )
    moved_planes = Segmentation(
        planes=tuple(
            type(p)(
                centroid=rotation @ p.centroid + shift,
                normal=rotation @ p.normal,
                covariance=p.covariance,
                n_points=p.n_points,
                rms_m=p.rms_m,
                area_m2=p.area_m2,
            )
            for p in segmentation.planes
        ),
        labels=segmentation.labels,
        noise_m=segmentation.noise_m,
        spacing_m=segmentation.spacing_m,
        correlation_m=segmentation.correlation_m,
    )
    _, moved = measured(moved_points, moved_planes)
    roof = roof_of(kind)
    assert moved.area.value == pytest.approx(roof.area.value, rel=1e-3)
    assert moved.area.u == pytest.approx(roof.area.u, rel=0.1)
    assert {k: len([e for e in moved.edges if e.kind == k]) for k in EdgeKind} == {
        k: len([e for e in roof.edges if e.kind == k]) for k in EdgeKind
    }
    result = compare_roof(moved, move(true_roof(kind), turn, shift))
    assert result.missed == result.false == ()
    for face in result.faces:
        assert abs(np.rad2deg(face.azimuth_rad)) < 0.3
    for before in roof.planes:
        after = min(moved.planes, key=lambda p: float(np.abs(rotation @ before.normal - p.normal).max()))
        assert after.pitch_deg.value == pytest.approx(before.pitch_deg.value, abs=0.02)
