"""The cast house is photographed, matched and measured once for all tests that look at it."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
import rendered_houses as house

from slopewright import adjust, edges, isolate, planes
from slopewright.photos import boundaries, dense
from slopewright.photos.model import Block, Camera
from slopewright.roof import Frame, Roof
from slopewright.scene import Cloud, RoofPoints, Segmentation, Topology

CAMERA = Camera(width_px=680, height_px=510, focal_px=540.0, centre_px=(343.0, 251.0), k1=-0.05, k2=0.02)
PIXEL_M = 0.035  # on the roof, about


@dataclass(frozen=True, kw_only=True, eq=False)
class Measured:
    """The way from photos to a roof, step by step."""

    cloud: Cloud
    points: RoofPoints
    segmentation: Segmentation
    traced: Topology
    placed: Topology
    roof: Roof


@pytest.fixture(scope="session")
def cast(tmp_path_factory: pytest.TempPathFactory) -> Block:
    """Ten photos with exact cameras."""
    poses = house.drone_poses((3, 2), 4)
    return house.shoot(tmp_path_factory.mktemp("cast"), poses, CAMERA)


@pytest.fixture(scope="session")
def measured(cast: Block) -> Measured:
    """Everything that follows from them."""
    cloud = dense.run(cast)
    scene = isolate.run(cloud)
    points = scene.roofs[scene.chosen]
    segmentation = planes.run(points)
    traced = edges.run(points, segmentation)
    placed = boundaries.run(cast, segmentation, traced)
    frame = Frame(origin=cloud.origin, ground_z_m=points.ground_z_m)
    config = adjust.AdjustConfig(scale_sd=0.0, tilt_sd_rad=0.0)
    roof = adjust.run(points, segmentation, placed, frame, config)
    return Measured(
        cloud=cloud, points=points, segmentation=segmentation, traced=traced, placed=placed, roof=roof
    )
