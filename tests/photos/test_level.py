"""Which way is up: exact drawings of walls, a gable that is turned off level, and what does not tell."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from placed_ring import ring

from slopewright.photos.even import levelled_by_house
from slopewright.photos.level import level_of
from slopewright.photos.model import Block
from slopewright.photos.placed import Model
from slopewright.scene import (
    Cloud,
    Corner,
    Curve,
    EdgeKind,
    PlaneSegment,
    PlanVertex,
    Segmentation,
    Topology,
    TracedEdge,
    TracedFace,
)

UP = np.array([0.0, 0.0, 1.0])


def turn(axis: int, degrees: float) -> np.ndarray:
    vector = np.zeros(3)
    vector[axis] = np.deg2rad(degrees)
    return cv2.Rodrigues(vector)[0]


def tilted(model: Model, by: np.ndarray) -> Model:
    """The same photos in a frame that is turned: up is by @ UP."""
    return replace(model, rotation=model.rotation @ by.T, points=model.points @ by.T)


def drawn(model: Model, *, walls: bool) -> dict[str, np.ndarray]:
    """Dark pictures with a box of upright edges, level edges, and slanting clutter that differs by photo."""
    rng = np.random.default_rng(4)
    corners = np.array([[-3, -2], [3, -2], [3, 2], [-3, 2], [-1, -2], [1, -2], [3, 0], [-3, 1]], dtype=float)
    pictures = {}
    for i, name in enumerate(model.names):
        picture = np.full((1200, 1600, 3), 40, dtype=np.uint8)
        lines = [(np.append(xy, -2.0), np.append(xy, 1.0)) for xy in corners] if walls else []
        lines += [(np.array([-3, y, z]), np.array([3, y, z])) for y in (-2.0, 2.0) for z in (-2.0, 1.0)]
        for ends in lines:
            seen = np.array(ends) @ model.rotation[i].T + model.translation[i]
            pixels = model.lens[i, 0] * seen[:, :2] / seen[:, 2:] + model.lens[i, 1:3]
            a, b = (tuple(int(v) for v in np.round(pixel * 16)) for pixel in pixels)
            cv2.line(picture, a, b, (220, 220, 220), 5, cv2.LINE_AA, 4)
        for _ in range(30):
            start, angle = rng.uniform([0, 0], [1600, 1200]), rng.uniform(0, np.pi)
            end = start + rng.uniform(40, 120) * np.array([np.cos(angle), np.sin(angle)])
            cv2.line(
                picture, *(tuple(int(v) for v in p) for p in (start, end)), (150, 150, 150), 3, cv2.LINE_AA
            )
        pictures[name] = picture
    return pictures


def straight(model: Model) -> Model:
    return replace(model, lens=model.lens * np.array([1, 1, 1, 0, 0]))


@pytest.mark.parametrize("by", [np.eye(3), turn(0, 25.0) @ turn(1, -40.0), turn(0, 180.0)])
def test_walls_tell_the_vertical_in_any_frame(by: np.ndarray) -> None:
    """Oracle: exact drawing; whatever way the model lies, up comes out the right way round."""
    model = straight(ring(6))
    pictures = drawn(model, walls=True)
    level = level_of(tilted(model, by), pictures, None, rng=np.random.default_rng(1))
    off = np.arccos(np.clip(level.up @ by @ UP, -1, 1))
    assert np.rad2deg(off) < 0.1
    assert off < 2.5 * level.u_rad
    assert "upright lines" in level.source


def test_without_walls_the_level_is_weak_and_says_so() -> None:
    """Cameras that are held askew by up to 2° still give up to within what is claimed."""
    model = straight(ring(6))
    pictures = drawn(model, walls=False)
    level = level_of(model, pictures, None, rng=np.random.default_rng(1))
    assert [notice.code for notice in level.notices] == ["level_weak"]
    assert level.u_rad > np.deg2rad(0.9)
    assert level.up @ UP > np.cos(3 * level.u_rad)


WIDE, LONG, RISE = 4.0, 6.0, 2.0
GABLE = np.array(
    [
        [-LONG, -WIDE, 0],
        [LONG, -WIDE, 0],
        [LONG, 0, RISE],
        [-LONG, 0, RISE],
        [LONG, WIDE, 0],
        [-LONG, WIDE, 0],
    ]
)


def gable(by: np.ndarray, *, back: float = 1.0) -> tuple[Block, Cloud, Segmentation, Topology]:
    """A gable as the stages have it, in a frame that is turned; its back reaches down `back` times as far."""
    corners = GABLE.copy()
    corners[4:, 1] *= back
    corners[4:, 2] = RISE * (1 - back)
    corners = corners @ by.T
    planes = []
    for rows in ((0, 1, 2, 3), (3, 2, 4, 5)):
        points = corners[list(rows)]
        normal = np.cross(points[1] - points[0], points[2] - points[0])
        normal = normal / np.linalg.norm(normal) * np.sign(normal[2])
        planes.append(
            PlaneSegment(
                centroid=points.mean(axis=0),
                normal=normal,
                covariance=np.diag([1e-7, 1e-7, 1e-6]),
                n_points=1000,
                rms_m=0.01,
                area_m2=50.0,
            )
        )
    crease = Curve(planes=(0, 1))
    topology = Topology(
        boundaries=(),
        vertices=tuple(PlanVertex(curves=(crease, crease), xy=corner[:2].copy()) for corner in corners),
        corners=tuple(Corner(vertex=n, planes=(0, 1)) for n in range(6)),
        edges=(TracedEdge(kind=EdgeKind.RIDGE, start=2, end=3, planes=(0, 1), curve=crease, observed=1.0),),
        faces=(
            TracedFace(plane=0, loops=((0, 1, 2, 3),), observed=1.0),
            TracedFace(plane=1, loops=((3, 2, 4, 5),), observed=1.0),
        ),
    )
    segmentation = Segmentation(
        planes=tuple(planes),
        labels=np.zeros(1, dtype=np.int32),
        noise_m=0.01,
        spacing_m=0.03,
        correlation_m=0.0,
    )
    block = Block(
        photos=(),
        points=corners.copy(),
        seen_point=np.zeros(0, dtype=np.int32),
        seen_photo=np.zeros(0, dtype=np.int32),
        origin=np.zeros(3),
        crs=None,
        scale_u=0.01,
        tilt_u_rad=float(np.deg2rad(4.0)),
        scale_from="",
        level_from="how the cameras were held",
    )
    return block, Cloud(xyz=corners.copy(), origin=np.zeros(3)), segmentation, topology


@pytest.mark.parametrize("by", [turn(0, 3.0), turn(1, -4.0), turn(2, 30.0) @ turn(0, 2.0) @ turn(1, 2.0)])
def test_a_like_gable_is_turned_level(by: np.ndarray) -> None:
    """Oracle: exact geometry: ridge and both eaves are at one height each again."""
    block, cloud = levelled_by_house(*gable(by))
    heights = cloud.xyz[:, 2]
    assert abs(heights[2] - heights[3]) < 0.01 * 12
    assert np.ptp(heights[[0, 1, 4, 5]]) < 0.03
    np.testing.assert_allclose(block.points, cloud.xyz)
    assert block.tilt_u_rad < np.deg2rad(0.3)


def test_a_saltbox_gives_its_ridge_and_nothing_across_it() -> None:
    """Oracle: definition of a saltbox: its faces differ, so they do not tell up across the ridge."""
    block, cloud = levelled_by_house(*gable(turn(1, 3.0), back=1.6))
    assert abs(cloud.xyz[2, 2] - cloud.xyz[3, 2]) < 0.01 * 12
    assert block.tilt_u_rad == pytest.approx(np.deg2rad(4.0), rel=0.05)


def test_a_house_that_leans_beyond_doubt_is_told_and_not_turned() -> None:
    made, *rest = gable(turn(0, 4.0))
    before = replace(made, tilt_u_rad=float(np.deg2rad(0.15)))
    block, cloud = levelled_by_house(before, *rest)
    assert [notice.code for notice in block.notices] == ["level_house_disagrees"]
    np.testing.assert_array_equal(cloud.xyz, rest[0].xyz)
