"""Isolating on clouds that nobody here made, against the labels published with them.

Oracles: the segment labels of CGAL's `building.ply` (sample_inputs/hall/NOTICE.md) and the ground, vegetation
and roof labels of its `b9_training.ply` (tests/data/b9/NOTICE.md).
"""

from pathlib import Path

import laspy
import numpy as np
import pytest

from slopewright.isolate import run
from slopewright.scene import Cloud

ROOT = Path(__file__).parents[2]
MAIN_FACES = {2: 0.998, 4: 0.998, 5: 0.999, 18: 0.999, 12: 0.997, 13: 0.997}
EAVES_M = 10.9  # label 2 and 4 also file ledges below the eaves; the roof's lowest points lie above this
GROUND, VEGETATION, ROOF = 2, 5, 6


def _cloud(path, *, classes=False):
    las = laspy.read(path)
    origin = np.floor(las.header.mins)
    return Cloud(
        xyz=np.asarray(las.xyz) - origin,
        origin=origin,
        name=path.name,
        classes=np.asarray(las.classification, dtype=np.uint8) if classes else None,
    ), las


def test_the_hall_is_one_roof_with_all_of_its_main_faces():
    hall, las = _cloud(ROOT / "sample_inputs/hall/cloud.laz")
    scene = run(hall)
    assert len(scene.roofs) == 1
    labels = np.asarray(las.segment_index)
    held = np.zeros(len(labels), dtype=bool)
    held[scene.roofs[0].indices] = True
    for face, least in MAIN_FACES.items():
        roof = (labels == face) & (np.asarray(las.z) > EAVES_M)
        assert roof.sum() > 500
        assert held[roof].mean() >= least, face


@pytest.mark.parametrize("classes", [False, True])
def test_labelled_roof_is_kept_and_labelled_ground_and_trees_are_not(classes):
    """566 points labelled roof, 314 vegetation, 1567 ground."""
    site, las = _cloud(ROOT / "tests/data/b9/cloud.laz", classes=classes)
    scene = run(site)
    labels = np.asarray(las.classification)
    held = np.zeros(len(labels), dtype=bool)
    for roof in scene.roofs:
        held[roof.indices] = True
    assert held[labels == ROOF].mean() > 0.98
    assert held[labels == VEGETATION].mean() < 0.01
    assert held[labels == GROUND].mean() < 0.01
