"""An edge beyond which nothing was scanned.  Oracle: what the drawn capture holds beside the true outline."""

from dataclasses import replace

import numpy as np

from simulate import photogrammetry, random_roof, roof_points_of
from simulate.segmented import true_segmentation
from slopewright import adjust, edges, scrutiny
from slopewright.roof import Frame


def told(end_seen: bool) -> set[str]:
    """Codes that scrutiny tells of a gable of whose surroundings the western third was not captured."""
    truth = random_roof("gable", np.random.default_rng([5, 1]))
    cloud = photogrammetry(truth, np.random.default_rng([5, 2]), density=60.0, noise_m=0.01, bleed_m=0)
    points = roof_points_of(cloud, truth)
    west = np.quantile(points.footprint[:, 0], 0.33)
    points = replace(points, context=points.context[points.context[:, 0] > west])
    segmentation = true_segmentation(points, cloud, truth, spacing_m=1 / np.sqrt(60.0))
    topology = edges.run(points, segmentation)
    boundaries = tuple(replace(boundary, end_seen=end_seen) for boundary in topology.boundaries)
    topology = replace(topology, boundaries=boundaries)
    roof = adjust.run(points, segmentation, topology, Frame(origin=np.zeros(3), ground_z_m=0.0))
    return {notice.code for notice in scrutiny.run(points, segmentation, roof)}


def test_an_edge_that_photos_show_needs_nothing_scanned_beyond_it():
    assert "cloud_ends" in told(end_seen=False)
    assert "cloud_ends" not in told(end_seen=True)
