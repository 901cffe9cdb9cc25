"""Sides that the fit turns round are no sides.  Oracle: exact geometry of the rectangle that was scanned."""

import numpy as np
import pytest
import shapely

from slopewright.edges.candidates import PlanLine
from slopewright.edges.evidence import gather
from slopewright.edges.refit import fit_outline, fitted_line
from slopewright.edges.settle import Chain, Lines, graph_of
from slopewright.scene import Curve, PlaneSegment, RoofPoints, Segmentation

LENGTH_M, WIDTH_M = 10.0, 6.0


def _scan(rng, density=25.0):
    """One level slope over a rectangle, with ground all round."""
    xy = rng.uniform([-3, -3], [LENGTH_M + 3, WIDTH_M + 3], (int(density * 16 * 12), 2))
    on = (xy > 0).all(axis=1) & (xy < [LENGTH_M, WIDTH_M]).all(axis=1)
    roof = np.column_stack([xy[on], 4 + 0.5 * xy[on, 1] + rng.normal(0, 0.02, on.sum())])
    ring = np.array([[0, 0], [LENGTH_M, 0], [LENGTH_M, WIDTH_M], [0, WIDTH_M]])
    points = RoofPoints(
        id="r1",
        xyz=roof,
        indices=np.arange(on.sum()),
        context=np.column_stack([xy[~on], np.zeros((~on).sum())]),
        footprint=ring,
        area_m2=LENGTH_M * WIDTH_M,
        ground_z_m=0.0,
    )
    plane = PlaneSegment(
        centroid=np.array([LENGTH_M / 2, WIDTH_M / 2, 4 + 0.25 * WIDTH_M]),
        normal=np.array([0, -0.5, 1]) / np.hypot(0.5, 1),
        covariance=np.diag([1e-6, 1e-6, 1e-6]),
        n_points=int(on.sum()),
        rms_m=0.02,
        area_m2=LENGTH_M * WIDTH_M * np.hypot(0.5, 1),
    )
    labels = np.zeros(on.sum(), dtype=np.int32)
    spacing = 1 / np.sqrt(density)
    return points, Segmentation(
        planes=(plane,), labels=labels, noise_m=0.02, spacing_m=spacing, correlation_m=0.0
    )


def _line(normal, offset):
    return PlanLine(
        normal=np.array(normal, dtype=float),
        offset=offset,
        span=(-20.0, 20.0),
        owners=frozenset((0,)),
        crease=None,
        support_m=5.0,
    )


def _with_jog(jog_m):
    """The rectangle, its far side cut in two pieces `jog_m` apart, as rough lines may be cut."""
    lines = [
        _line((0, -1), 0.0),
        _line((1, 0), LENGTH_M),
        _line((0, 1), WIDTH_M - jog_m),
        _line((1, 0), 4.0),
        _line((0, 1), WIDTH_M + jog_m),
        _line((-1, 0), 0.0),
    ]
    corners = [(0, 0), (LENGTH_M, 0), (LENGTH_M, WIDTH_M - jog_m), (4, WIDTH_M - jog_m)]
    corners += [(4, WIDTH_M + jog_m), (0, WIDTH_M + jog_m)]
    chains = [
        Chain(left=0, right=-1, curve=Curve(boundary=n), start=n, end=(n + 1) % 6, length_m=1.0)
        for n in range(6)
    ]
    where = {n: np.array(xy, dtype=float) for n, xy in enumerate(corners)}
    return graph_of(chains, where, Lines(boundaries=tuple(lines), coefficients=np.array([[0, 0.5, 4.0]])))


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_jog_that_the_points_do_not_show_is_shrunk(seed):
    points, segmentation = _scan(np.random.default_rng(seed))
    outline = fit_outline(_with_jog(0.3), points, segmentation, gather(points, segmentation))

    (face,) = outline.faces
    assert len(face.loops[0][0]) == 5  # the jog's two corners are one
    lines = [fitted_line(*fit) for fit in outline.fits]
    for n, offset in ((2, WIDTH_M), (4, WIDTH_M)):
        assert lines[n].offset == pytest.approx(offset, abs=0.08)


def test_no_outline_crosses_itself_whatever_the_jog():
    rng = np.random.default_rng(3)
    for jog_m in (-0.5, -0.2, 0.15, 0.4, 0.8):
        points, segmentation = _scan(rng)
        outline = fit_outline(_with_jog(jog_m), points, segmentation, gather(points, segmentation))
        (face,) = outline.faces
        ring = [outline.graph.vertices[v].xy for v in face.loops[0][0]]
        assert shapely.Polygon(ring).is_valid
        assert shapely.Polygon(ring).area == pytest.approx(LENGTH_M * WIDTH_M, rel=0.12)


def test_a_fitted_line_passes_where_the_fit_says():
    """Definition: at station s the edge lies offset + turn (s - pivot) outside the line, to first order."""
    from slopewright.edges.boundary import StepFit

    line = _line((0.6, 0.8), 2.0)
    fit = StepFit(
        offset_m=0.2,
        turn_rad=0.01,
        pivot_m=3.0,
        covariance=np.eye(2),
        smear_m=0.05,
        seen_m=5.0,
        observed=1.0,
    )
    placed = fitted_line(line, fit)
    for s in (0.0, 3.0, 7.0):
        xy = line.normal * (line.offset + 0.2 + 0.01 * (s - 3.0)) + line.direction * s
        assert xy @ placed.normal == pytest.approx(placed.offset, abs=1e-4)
