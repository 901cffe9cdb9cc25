"""An outline that does not run square to the fall.  Oracle: the corners between which points were drawn."""

import numpy as np
import pytest
import shapely

from slopewright import edges
from slopewright.scene import PlaneSegment, RoofPoints, Segmentation

SLOPE = 0.4


@pytest.mark.parametrize("degrees", [-2.0, 0.0, 2.0])
def test_boundaries_run_along_the_true_outline(degrees):
    """Each free edge's vertical plane passes within 3 cm of both ends of its side of the plan."""
    skew = 8.0 * np.tan(np.deg2rad(degrees))
    corners = np.array([[0.0, 0.0], [10.0, 0.0], [10.0 + skew, 8.0], [0.0, 8.0]])
    plan = shapely.Polygon(corners)
    rng = np.random.default_rng(6)
    xy = rng.uniform([-1, -1], [12, 9], (60 * 13 * 10, 2))
    xy = xy[shapely.contains_xy(plan, xy[:, 0], xy[:, 1])]
    points = RoofPoints(
        id="r1",
        xyz=np.column_stack([xy, 3 + SLOPE * xy[:, 1]]),
        indices=np.arange(len(xy)),
        context=np.empty((0, 3)),
        footprint=corners,
        area_m2=float(plan.area),
        ground_z_m=None,
    )
    plane = PlaneSegment(
        centroid=np.array([5.0, 4.0, 3 + 4 * SLOPE]),
        normal=np.array([0.0, -SLOPE, 1.0]) / np.hypot(SLOPE, 1.0),
        covariance=np.diag([1e-6, 1e-6, 1e-5]),
        n_points=len(xy),
        rms_m=0.001,
        area_m2=float(plan.area * np.hypot(SLOPE, 1.0)),
    )
    segmentation = Segmentation(
        planes=(plane,),
        labels=np.zeros(len(xy), dtype=np.int32),
        noise_m=0.001,
        spacing_m=60**-0.5,
        correlation_m=0.0,
    )
    topology = edges.run(points, segmentation)
    assert len(topology.edges) == 4
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        misses = []
        for boundary in topology.boundaries:
            normal = np.array([np.cos(boundary.angle_rad), np.sin(boundary.angle_rad)])
            away = np.abs((np.stack([start, end]) - boundary.point) @ normal).max()
            out = normal @ ((start + end) / 2 - plan.centroid.coords[0])
            misses.append(away if out > 0 else np.inf)
        assert min(misses) < 0.03
