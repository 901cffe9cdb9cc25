"""A real scanned hall with a hip roof and a cross gable, measured by the whole chain.

Oracles: the published labels of the cloud (sample_inputs/hall/NOTICE.md); robust plane fits to the points of
those labels, made apart from this program: main slopes 32.07 and 31.97, hip ends 32.17 and 32.09 (all 7.5 in
12), cross gable 25.79 and 25.63 degrees, ridge 40.99 m; and geometry: equal pitches over a right-angled
corner meet in a line at 45 degrees in plan.
"""

import math
from pathlib import Path
from typing import NamedTuple

import laspy
import numpy as np
import pytest
import shapely

from slopewright import adjust, edges, isolate, planes
from slopewright.cloud import read_cloud
from slopewright.roof import Edge, Frame, Roof
from slopewright.scene import EdgeKind, RoofPoints, Segmentation

CLOUD = Path(__file__).parents[2] / "sample_inputs" / "hall" / "cloud.laz"

WEST, EAST, NORTH, SOUTH, GABLE_NORTH, GABLE_SOUTH = 2, 4, 5, 18, 12, 13  # published labels
MAIN = (WEST, EAST, NORTH, SOUTH)
GABLE = (GABLE_NORTH, GABLE_SOUTH)
EAVES_Z_M = 11.0  # published labels reach over ledges below it
SHORT_M = 0.5  # 1 % of the building; a shorter crease is a corner that does not quite meet


class Hall(NamedTuple):
    """What the chain made of the hall, and the published label of every point."""

    published: np.ndarray
    xyz: np.ndarray
    points: RoofPoints
    segmentation: Segmentation
    roof: Roof


@pytest.fixture(scope="module")
def hall() -> Hall:
    cloud = read_cloud(CLOUD, unit="m")
    scene = isolate.run(cloud)
    points = scene.roofs[scene.chosen]
    segmentation = planes.run(points)
    topology = edges.run(points, segmentation)
    frame = Frame(origin=cloud.origin, crs=cloud.crs, ground_z_m=points.ground_z_m)
    return Hall(
        published=np.array(laspy.read(CLOUD).segment_index),
        xyz=cloud.xyz + cloud.origin,
        points=points,
        segmentation=segmentation,
        roof=adjust.run(points, segmentation, topology, frame),
    )


def planes_over(hall: Hall, label: int) -> set[str]:
    """Ids of the measured planes that lie over a quarter or more of a published label's points."""
    xy = hall.xyz[(hall.published == label) & (hall.xyz[:, 2] > EAVES_Z_M), :2]
    found = set()
    for plane in hall.roof.planes:
        outer, *holes = [(hall.roof.ring(loop) + hall.roof.frame.origin)[:, :2] for loop in plane.loops]
        inside = shapely.contains_xy(shapely.make_valid(shapely.Polygon(outer, holes)), *xy.T)
        if inside.mean() >= 0.25:
            found.add(plane.id)
    return found


def creases(hall: Hall, a: int, b: int) -> list[Edge]:
    """Edges between the planes over two labels, those that are not short."""
    over_a, over_b = planes_over(hall, a), planes_over(hall, b)
    return [
        edge
        for edge in hall.roof.edges
        if len(edge.planes) == 2
        and edge.length.value > SHORT_M
        and any({first, second} == set(edge.planes) for first in over_a for second in over_b)
    ]


def span(hall: Hall, edge: Edge) -> np.ndarray:
    return hall.roof.vertices[edge.end] - hall.roof.vertices[edge.start]


@pytest.mark.parametrize("label", [*MAIN, *GABLE])
def test_every_slope_is_one_plane(hall, label):
    assert len(planes_over(hall, label)) == 1


@pytest.mark.parametrize(
    ("label", "pitch_deg", "tolerance_deg"),
    [*((label, 32.1, 0.3) for label in MAIN), *((label, 25.7, 0.4) for label in GABLE)],
)
def test_pitch_is_that_of_the_independent_fits(hall, label, pitch_deg, tolerance_deg):
    for plane in hall.roof.planes:
        if plane.id in planes_over(hall, label):
            assert plane.pitch_deg.value == pytest.approx(pitch_deg, abs=tolerance_deg)


@pytest.mark.parametrize("label", [*MAIN, *GABLE])
def test_labels_agree_with_the_published_ones_by_the_half_overlap_rule(hall, label):
    """Oracle: published labels; a plane is found if some segment shares half or more of the union with it."""
    mine = np.full(len(hall.published), -1)
    mine[hall.points.indices] = hall.segmentation.labels
    theirs = hall.published == label
    overlaps = [
        ((mine == k) & theirs).sum() / ((mine == k) | theirs).sum()
        for k in range(len(hall.segmentation.planes))
    ]
    assert max(overlaps) > 0.5


def test_main_slopes_meet_in_one_level_ridge(hall):
    """Oracle: 40.99 m from the independent fits; their own scatter over gates and samples is 0.05 m."""
    (ridge,) = creases(hall, WEST, EAST)
    assert ridge.kind is EdgeKind.RIDGE
    assert ridge.length.value == pytest.approx(40.99, abs=0.15)
    assert abs(span(hall, ridge)[2]) < 0.1


@pytest.mark.parametrize("slope", [WEST, EAST])
@pytest.mark.parametrize("end", [NORTH, SOUTH])
def test_each_slope_meets_each_end_in_a_hip_at_45_degrees_in_plan(hall, slope, end):
    """Oracle: equal pitches over a right-angled corner."""
    (hip,) = creases(hall, slope, end)
    assert hip.kind is EdgeKind.HIP
    dx, dy, _ = np.abs(span(hall, hip))
    assert math.degrees(math.atan2(dy, dx)) == pytest.approx(45, abs=1)


@pytest.mark.parametrize("side", GABLE)
def test_cross_gable_meets_the_west_slope_in_a_valley(hall, side):
    """Oracle for its direction: tan of the plan angle from the gable's ridge is tan 32.05 / tan 25.7."""
    valleys = creases(hall, side, WEST)
    assert valleys
    for valley in valleys:
        assert valley.kind is EdgeKind.VALLEY
        dx, dy, _ = np.abs(span(hall, valley))
        expected = math.atan2(math.tan(math.radians(32.05)), math.tan(math.radians(25.7)))
        assert math.atan2(dy, dx) == pytest.approx(expected, abs=math.radians(1.5))


def test_cross_gable_has_its_own_level_ridge(hall):
    (ridge,) = creases(hall, *GABLE)
    assert ridge.kind is EdgeKind.RIDGE
    assert abs(span(hall, ridge)[2]) < 0.1


def test_main_planes_meet_in_no_other_creases(hall):
    """Oracle: seven creases and the gable's ridge are all there are between the six slopes."""
    slopes = set().union(*(planes_over(hall, label) for label in (*MAIN, *GABLE)))
    found = [
        edge.kind
        for edge in hall.roof.edges
        if len(edge.planes) == 2 and set(edge.planes) <= slopes and edge.length.value > SHORT_M
    ]
    assert sorted(set(found)) == sorted({EdgeKind.RIDGE, EdgeKind.HIP, EdgeKind.VALLEY})
    assert found.count(EdgeKind.HIP) == 4
    assert found.count(EdgeKind.RIDGE) == 2
