"""Cells of the plan and their planes.  Oracles: areas and counts known in advance."""

import numpy as np
import pytest
import shapely

from slopewright.edges.arrangement import Cells, cut, stations_after_extension
from slopewright.edges.candidates import PlanLine
from slopewright.edges.evidence import Evidence
from slopewright.edges.labelling import absorb_small, label_cells, votes


def line(
    degrees: float, offset: float, span: tuple[float, float], *owners: int, crease: bool = False
) -> PlanLine:
    turn = np.deg2rad(degrees)
    return PlanLine(
        normal=np.array([np.cos(turn), np.sin(turn)]),
        offset=offset,
        span=span,
        owners=frozenset(owners),
        crease=(owners[0], owners[1]) if crease else None,
        support_m=span[1] - span[0],
    )


def box(x0: float, y0: float, x1: float, y1: float, *owners: int) -> list[PlanLine]:
    """Four lines round a rectangle; stations of a line run along (-n_y, n_x)."""
    return [
        line(0, x1, (y0, y1), *owners),
        line(90, y1, (-x1, -x0), *owners),
        line(180, -x0, (-y1, -y0), *owners),
        line(270, -y0, (x0, x1), *owners),
    ]


def evidence_of(points: np.ndarray, labels: np.ndarray, weight: np.ndarray, n_planes: int) -> Evidence:
    return Evidence(
        xyz=np.column_stack([points, np.zeros(len(points))]),
        labels=labels.astype(np.int32),
        every_label=labels.astype(np.int32),
        weight=weight,
        ground=np.empty((0, 2)),
        ground_weight=0.1,
        coefficients=np.zeros((n_planes, 3)),
        spacing_m=0.2,
    )


def cells_of(lines: list[PlanLine]) -> Cells:
    return cut(lines, stations_after_extension(lines, 0.7, 6.0))


def raster(polygon: shapely.Polygon, step_m: float) -> np.ndarray:
    """Points in the middle of the squares of a grid that lie in a polygon."""
    x0, y0, x1, y1 = polygon.bounds
    x, y = np.meshgrid(np.arange(x0 + step_m / 2, x1, step_m), np.arange(y0 + step_m / 2, y1, step_m))
    xy = np.column_stack([x.ravel(), y.ravel()])
    return xy[shapely.contains_xy(polygon, xy[:, 0], xy[:, 1])]


def area_of(cells: Cells, labels: np.ndarray, k: int) -> float:
    return float(cells.area[labels == k].sum())


def test_cells_tile_what_the_lines_enclose():
    """Area of the parts is the area of the whole, and no two overlap; slanting lines in a 10 x 6 m box."""
    lines = [*box(0, 0, 10, 6, 0), line(37, 5.0, (-20, 20), 0), line(-50, 2.0, (-20, 20), 0)]
    cells = cut(lines, np.array([one.span for one in lines]) + np.array([-0.01, 0.01]))
    whole = shapely.union_all(cells.polygons)
    assert shapely.box(0, 0, 10, 6).difference(whole).area < 0.01  # nodes are rounded to 0.1 mm
    assert cells.area.sum() == pytest.approx(whole.area, rel=1e-9)
    inside = cells.area[shapely.contains(shapely.box(-0.05, -0.05, 10.05, 6.05), cells.polygons)].sum()
    assert inside == pytest.approx(60.0, abs=0.02)


def test_pieces_know_their_line_and_the_cells_on_both_sides():
    """Definition of left and right, from a point beside the middle of each piece."""
    cells = cells_of([*box(0, 0, 10, 6, 0), line(0, 4.0, (0, 6), 0)])
    assert len(cells.polygons) == 2
    for piece, (start, end) in enumerate(cells.piece_nodes):
        a, b = cells.nodes[start], cells.nodes[end]
        left = np.array([a[1] - b[1], b[0] - a[0]]) / np.hypot(*(b - a))
        for side, cell in zip((1, -1), cells.piece_cells[piece], strict=True):
            beside = shapely.Point((a + b) / 2 + side * 0.01 * left)
            holding = [c for c, polygon in enumerate(cells.polygons) if polygon.contains(beside)]
            assert holding == ([] if cell < 0 else [cell])
        assert cells.piece_length[piece] == pytest.approx(np.hypot(*(b - a)))
    middle = cells.nodes[cells.piece_nodes].mean(axis=1)
    inner = (cells.piece_cells >= 0).all(axis=1)
    assert inner.sum() == 1 and middle[inner][0] == pytest.approx([4.0, 3.0], abs=1e-3)
    assert cells.piece_line[inner][0] == 4


def test_a_line_that_stops_short_is_led_on_to_the_next():
    """The dividing line ends 3 m before the eave, which lies within reach."""
    lines = [*box(0, 0, 10, 6, 0), line(0, 4.0, (0, 3), 0)]
    assert len(cells_of(lines).polygons) == 2
    assert len(cut(lines, np.array([one.span for one in lines]) + np.array([-0.01, 0.01])).polygons) == 1


def test_votes_are_all_points_in_cells_times_their_weight():
    rng = np.random.default_rng(5)
    cells = cells_of([*box(0, 0, 10, 6, 0), line(0, 4.0, (0, 6), 0, 1, crease=True)])
    points = rng.uniform([0.01, 0.01], [9.99, 5.99], (500, 2))
    labels = rng.integers(-1, 2, 500)
    weight = rng.uniform(0.5, 2.0, 500)
    planes, hidden, ground = votes(cells, evidence_of(points, labels, weight, 2))
    for k in range(2):
        assert planes[:, k].sum() == pytest.approx(weight[labels == k].sum())
    assert hidden.sum() == pytest.approx(weight[labels == -1].sum())
    assert not ground.any()
    west = shapely.get_x(shapely.centroid(cells.polygons)).argmin()
    assert planes[west, 0] == pytest.approx(weight[(labels == 0) & (points[:, 0] < 4)].sum())


def labelled_l(small_m2: float = 0.0) -> tuple[Cells, np.ndarray, np.ndarray]:
    """A 10 x 4 m plane and a wing of 4 x 5 m, and beside it a dormer face of `small_m2`."""
    body, wing = shapely.box(0, 0, 10, 4), shapely.box(0, 4, 4, 9)
    side = np.sqrt(small_m2)
    dormer = shapely.box(6, 1, 6 + side, 1 + side)
    lines = [*box(0, 0, 10, 4, 0), *box(0, 4, 4, 9, 1)]
    lines[1] = line(90, 4.0, (-10, -4), 0)  # the eave north of the body, where the wing is not
    lines[7] = line(90, 4.0, (-4, 0), 0, 1, crease=True)
    step, parts = 0.2, [body.difference(dormer) if small_m2 else body, wing]
    if small_m2:
        parts.append(dormer)
        lines += box(6, 1, 6 + side, 1 + side, 0, 2)
    points = [raster(part, step) for part in parts]
    labels = np.concatenate([np.full(len(p), k) for k, p in enumerate(points)])
    xy = np.concatenate(points)
    cells = cells_of(lines)
    planes, hidden, ground = votes(cells, evidence_of(xy, labels, np.full(len(xy), step**2), len(parts)))
    return cells, label_cells(cells, lines, planes, hidden, ground), planes


def test_an_l_of_two_planes_gets_its_labels_from_the_points():
    """Areas of the two rectangles; the empty corner of the L stays outside."""
    cells, labels, _ = labelled_l()
    assert area_of(cells, labels, 0) == pytest.approx(40.0, abs=0.1)
    assert area_of(cells, labels, 1) == pytest.approx(20.0, abs=0.1)
    corner = [c for c, polygon in enumerate(cells.polygons) if polygon.contains(shapely.Point(7, 7))]
    assert all(labels[c] == -1 for c in corner)


@pytest.mark.parametrize("small_m2", [0.36, 1.0])
def test_a_plane_with_few_points_keeps_a_face(small_m2):
    """9 and 25 of 1500 points: the cuts round it cost more than its points, yet it is a face."""
    cells, labels, planes = labelled_l(small_m2)
    labels = absorb_small(cells, labels, planes, 0.35)
    assert area_of(cells, labels, 2) == pytest.approx(small_m2, abs=0.05)
    assert area_of(cells, labels, 0) + area_of(cells, labels, 2) == pytest.approx(40.0, abs=0.1)


def test_a_small_part_goes_to_the_neighbour_with_the_longest_border():
    """A 0.5 x 0.5 m corner wrongly of the other plane: joined to the plane round it."""
    lines = [*box(0, 0, 10, 4, 0), line(0, 5.0, (0, 4), 0, 1, crease=True), *box(2, 1, 2.5, 1.5, 0, 1)]
    cells = cut(lines, np.array([one.span for one in lines]) + np.array([-0.01, 0.01]))
    centre = shapely.centroid(cells.polygons)
    labels = (shapely.get_x(centre) > 5).astype(np.int64)
    labels[cells.area < 0.3] = 1
    assert area_of(cells, labels, 1) == pytest.approx(20.25, abs=0.02)
    joined = absorb_small(cells, labels, np.ones((len(labels), 2)), 0.35)
    assert area_of(cells, joined, 1) == pytest.approx(20.0, abs=0.02)
    assert (joined[cells.area < 0.3] == 0).all()
