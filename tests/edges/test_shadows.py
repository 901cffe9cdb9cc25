"""What a scan does not show: strips in the shadow of a higher roof, and what lies under a roof.

Oracle: common practice of looking from above; the expected answer follows from the hand-made scene.
"""

import numpy as np
import pytest
import shapely

from slopewright.edges.arrangement import Cells, cut
from slopewright.edges.candidates import PlanLine, closing_lines
from slopewright.edges.evidence import Evidence
from slopewright.edges.labelling import OUTSIDE, fill_shadows
from slopewright.edges.visible import UNDER, seen_from_above
from slopewright.scene import PlaneSegment, Segmentation

HIGH, LOW = 0, 1


def upright(x: float) -> PlanLine:
    return PlanLine(
        normal=np.array([1.0, 0.0]),
        offset=x,
        span=(0.0, 6.0),
        owners=frozenset((0, 1)),
        crease=None,
        support_m=6.0,
    )


def level(y: float) -> PlanLine:
    return PlanLine(
        normal=np.array([0.0, 1.0]),
        offset=y,
        span=(-10.0, 0.0),
        owners=frozenset((0, 1)),
        crease=None,
        support_m=10.0,
    )


def strip_between(width_m: float) -> tuple[Cells, np.ndarray, int]:
    """A high face to the left, a low one to the right, a strip of no label between them."""
    lines = [upright(0.0), upright(4.0), upright(4.0 + width_m), upright(10.0), level(0.0), level(6.0)]
    cells = cut(lines, np.array([one.span for one in lines]) + np.array([-0.01, 0.01]))
    x = shapely.get_coordinates(shapely.centroid(cells.polygons))[:, 0]
    strip = int(np.flatnonzero((x > 4) & (x < 4 + width_m))[0])
    labels = np.where(x < 4, HIGH, LOW)
    labels[strip] = OUTSIDE
    return cells, labels, strip


def flat(*heights: float) -> np.ndarray:
    return np.array([[0.0, 0.0, z] for z in heights])


def test_the_lower_face_runs_on_through_the_shadow_beside_the_higher_one():
    cells, labels, strip = strip_between(0.4)
    filled = fill_shadows(cells, labels, flat(6.0, 3.0), np.zeros(len(labels)))
    assert filled[strip] == LOW
    assert (np.delete(filled, strip) == np.delete(labels, strip)).all()


@pytest.mark.parametrize(
    ("width_m", "low_z_m", "ground_m2"),
    [(0.4, 3.0, 0.2), (1.5, 3.0, 0.0), (0.4, 5.8, 0.0)],
    ids=["ground was seen in it", "too wide for a shadow", "no step beside it"],
)
def test_a_gap_stays_a_gap(width_m, low_z_m, ground_m2):
    cells, labels, strip = strip_between(width_m)
    ground = np.zeros(len(labels))
    ground[strip] = ground_m2
    assert fill_shadows(cells, labels, flat(6.0, low_z_m), ground)[strip] == OUTSIDE


def test_a_shadow_in_several_cells_is_one_strip_and_ends_with_the_lower_face():
    """A strip cut lengthwise in two, beside a lower face that reaches half way up; definition."""
    lines = [upright(x) for x in (0.0, 4.0, 4.15, 4.4, 10.0)] + [level(y) for y in (0.0, 3.0, 6.0)]
    cells = cut(lines, np.array([one.span for one in lines]) + np.array([-0.01, 0.01]))
    x, y = shapely.get_coordinates(shapely.centroid(cells.polygons)).T
    truth = np.select([x < 4, y < 3], [HIGH, LOW], OUTSIDE)
    seen = np.where((x > 4) & (x < 4.4), OUTSIDE, truth)
    assert (seen != truth).sum() == 2
    assert (fill_shadows(cells, seen, flat(6.0, 3.0), np.zeros(len(seen))) == truth).all()


def sheet(x0: float, x1: float, y0: float, y1: float, z: float) -> np.ndarray:
    x, y = np.meshgrid(np.arange(x0, x1, 0.2), np.arange(y0, y1, 0.2))
    return np.column_stack([x.ravel(), y.ravel(), np.full(x.size, z)])


def segment(points: np.ndarray) -> PlaneSegment:
    return PlaneSegment(
        centroid=points.mean(axis=0),
        normal=np.array([0.0, 0.0, 1.0]),
        covariance=np.eye(3) * 1e-6,
        n_points=len(points),
        rms_m=0.01,
        area_m2=len(points) * 0.04,
    )


def seen(*sheets: np.ndarray) -> list[np.ndarray]:
    """Labels after looking from above, a sheet at a time."""
    labels = np.concatenate([np.full(len(s), k, dtype=np.int32) for k, s in enumerate(sheets)])
    heights = flat(*(float(s[0, 2]) for s in sheets))
    planes = tuple(segment(s) for s in sheets)
    found = seen_from_above(np.concatenate(sheets), labels, planes, heights, 0.2)
    return [found[labels == k] for k in range(len(sheets))]


def test_a_floor_under_a_roof_is_no_part_of_it():
    roof, floor = seen(sheet(0, 8, 0, 6, 6.0), sheet(1, 7, 1, 5, 3.0))
    assert (roof == 0).all()
    assert (floor == UNDER).all()


def test_a_lower_roof_beside_a_higher_one_is_seen_up_to_the_edge_above_it():
    """Two metres of the lower sheet lie under the upper one, six beside it: a cell of 0.3 m is the limit."""
    upper, lower = sheet(0, 4, 0, 6, 6.0), sheet(2, 10, 0, 6, 3.0)
    of_upper, of_lower = seen(upper, lower)
    assert (of_upper == 0).all()
    assert (of_lower[lower[:, 0] > 4.4] == 1).all()
    assert (of_lower[lower[:, 0] < 3.4] == UNDER).all()


def test_a_plane_that_is_mostly_under_a_roof_is_left_out_whole():
    """Six of its ten metres are hidden: a floor that reaches out of a window."""
    roof, floor = seen(sheet(0, 8, 0, 6, 6.0), sheet(2, 12, 0, 6, 3.0))
    assert (roof == 0).all()
    assert (floor == UNDER).all()


def test_a_ledge_narrower_than_any_face_is_left_out():
    face, ledge = seen(sheet(0, 8, 0, 6, 6.0), sheet(9, 9.4, 0, 6, 6.0))
    assert (face == 0).all()
    assert (ledge == UNDER).all()


def test_closing_lines_are_the_box_round_a_plane_s_points():
    """Definition: every point lies inside all four, and each is within a spacing of some point."""
    points = sheet(0, 8, 0, 6, 3.5)
    points[:, 2] += 0.5 * points[:, 0]  # falls to -x, so the box is upright
    labels = np.zeros(len(points), dtype=np.int32)
    evidence = Evidence(
        xyz=points,
        labels=labels,
        every_label=labels,
        weight=np.full(len(points), 0.04),
        ground=np.empty((0, 2)),
        ground_weight=0.1,
        coefficients=np.array([[0.5, 0.0, 3.5]]),
        spacing_m=0.2,
    )
    plane = segment(points)
    segmentation = Segmentation(
        planes=(plane,), labels=labels.copy(), noise_m=0.01, spacing_m=0.2, correlation_m=0.0
    )
    lines = closing_lines(evidence, segmentation, [0])
    outside = np.array([points[:, :2] @ line.normal - line.offset for line in lines])
    assert len(lines) == 4
    assert (outside < 0).all()
    assert (outside.max(axis=1) > -0.2).all()
