"""Lengths carry what would change if a cell of the plan were labelled otherwise.  Oracle: hand-made plans."""

import numpy as np
import pytest

from slopewright.edges.ambiguity import Doubtful, doubtful_cells, with_doubt
from slopewright.edges.arrangement import cut
from slopewright.edges.candidates import PlanLine
from slopewright.edges.evidence import Evidence
from slopewright.scene import Corner, Curve, EdgeKind, PlanVertex, Topology, TracedEdge, TracedFace

SPACING_M = 0.5


def _line(normal, offset, span=(-1.0, 11.0)):
    return PlanLine(
        normal=np.array(normal, dtype=float),
        offset=offset,
        span=span,
        owners=frozenset((0,)),
        crease=None,
        support_m=5.0,
    )


def _plan(notch_points, notch_x=9.0):
    """A slope over 10 x 6 m, rising along y, with a cell of 1 x 1 m at its eave that holds so many points."""
    lines = [
        _line((0, -1), 0.0),
        _line((1, 0), 10.0),
        _line((0, 1), 6.0, (-11.0, 1.0)),
        _line((-1, 0), 0.0, (-7.0, 1.0)),
        _line((1, 0), notch_x, (-0.01, 1.0)),
        _line((1, 0), notch_x + 1, (-0.01, 1.0)),
        _line((0, 1), 1.0, (-notch_x - 1, -notch_x)),
    ]
    cells = cut(lines, np.array([line.span for line in lines]))
    middle = np.array([p.representative_point().coords[0] for p in cells.polygons])
    small = cells.area < 1.5
    assert small.sum() == 1
    assert notch_x < middle[small][0, 0] < notch_x + 1
    planes = np.where(small, notch_points * SPACING_M**2, cells.area)[:, None]
    nothing = np.zeros(len(cells.area))
    evidence = Evidence(
        xyz=np.zeros((0, 3)),
        labels=np.zeros(0, dtype=np.int32),
        every_label=np.zeros(0, dtype=np.int32),
        weight=np.zeros(0),
        ground=np.zeros((0, 2)),
        ground_weight=0.0,
        coefficients=np.array([[0.0, 0.5, 4.0]]),
        spacing_m=SPACING_M,
    )
    labels = np.where(small & (notch_points < 2), -1, 0)
    return cells, lines, labels, (planes, nothing, nothing), evidence


@pytest.mark.parametrize("notch_points", [1, 2])
def test_a_corner_that_holds_half_its_points_may_be_a_notch_or_none(notch_points):
    """4 points are expected in 1 m² at 0.5 m: with 1 or 2 neither is sure.  By geometry a notch at a corner
    changes no length: what it takes from the eave and the rake it gives back further in."""
    (found,) = doubtful_cells(*_plan(notch_points))
    assert 0.02 < found.chance <= 0.5
    for change in found.change.values():
        assert change == pytest.approx(0.0, abs=1e-6)


def test_a_notch_in_an_eave_adds_two_rakes():
    """Geometry: both sides of a notch 1 m deep in plan are hypot(1, 0.5) m long at a rise of 0.5."""
    (found,) = doubtful_cells(*_plan(2, notch_x=4.0))
    assert found.xy == pytest.approx([4.5, 0.5], abs=0.5)
    assert found.change[EdgeKind.RAKE] == pytest.approx(2 * np.hypot(1.0, 0.5), abs=1e-3)
    assert found.change[EdgeKind.EAVE] == pytest.approx(0.0, abs=1e-6)


def test_a_corner_full_of_points_is_sure():
    assert doubtful_cells(*_plan(4)) == []


def test_more_points_than_half_make_a_notch_less_likely():
    chances = [doubtful_cells(*_plan(n))[0].chance for n in (2, 3)]
    assert chances[0] > chances[1]


def test_a_doubt_goes_to_the_nearest_edge_of_its_kind():
    """Variance of what is 2 m with a chance of a quarter and else nothing, about nothing: 1 m²."""
    places = [(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)]
    corners = tuple(Corner(vertex=n, planes=(0,)) for n in range(4))
    kinds = [EdgeKind.EAVE, EdgeKind.RAKE, EdgeKind.RIDGE, EdgeKind.RAKE]
    topology = Topology(
        boundaries=(),
        vertices=tuple(PlanVertex(curves=(), xy=np.array(xy)) for xy in places),
        corners=corners,
        edges=tuple(
            TracedEdge(
                kind=kind, start=n, end=(n + 1) % 4, planes=(0,), curve=Curve(boundary=n), observed=1.0
            )
            for n, kind in enumerate(kinds)
        ),
        faces=(TracedFace(plane=0, loops=((0, 1, 2, 3),), observed=1.0),),
    )
    cell = Doubtful(xy=np.array([3.5, 1.0]), chance=0.25, change={EdgeKind.RAKE: 2.0, EdgeKind.HIP: 3.0})
    doubt = [edge.ambiguous_m for edge in with_doubt(topology, [cell, cell]).edges]
    assert doubt == pytest.approx([0.0, np.sqrt(2.0), 0.0, 0.0])
