"""Roofs from raw scenes and from cut clouds.  Oracle throughout: the simulator's labels and true outlines."""

import numpy as np
import pytest
from isolate_scenes import GABLE, around, cloud, kept, overlap, pair, sense, two_level

from simulate import KINDS, draw_surroundings, move, random_roof, shapes
from simulate.draw_joined import DRAW as JOINED
from slopewright.isolate import run

GROUND, WALL, TREE, NEIGHBOUR, CAR = -1, -2, -3, -5, -6
ORDER = (*sorted(set(KINDS) - set(JOINED)), *JOINED)  # a kind that is added leaves the others their seeds


@pytest.mark.parametrize(("sensor", "density"), [("air", 4.0), ("air", 12.0), ("drone", 150.0)])
@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_roof_comes_out_of_its_surroundings(kind, sensor, density):
    """Labels: nearly all of the roof, none of the car or the neighbour, next to no ground."""
    rng = np.random.default_rng(ORDER.index(kind) + 100)
    roof = random_roof(kind, rng)
    scan = sense(roof, sensor, density, 1, draw_surroundings(roof, rng, tree_over_corner=True))
    scene = run(cloud(scan.xyz))

    found = max(scene.roofs, key=lambda points: overlap(points, roof.footprint))
    labels = scan.label[found.indices]
    assert kept(found, scan.label >= 0) > 0.985
    assert overlap(found, roof.footprint) > 0.85
    assert not np.isin(labels, (NEIGHBOUR, CAR)).any()
    assert np.mean(labels == GROUND) < 0.005
    assert kept(found, scan.label == TREE) < 0.5
    assert found.ground_z_m == pytest.approx(roof.ground_z_m, abs=0.15)
    np.testing.assert_array_equal(found.xyz, scan.xyz[found.indices])


@pytest.mark.parametrize("density", [1.0, 2.0, 8.0, 50.0])
def test_a_plain_house_is_found_at_any_airborne_density(density):
    scan = sense(move(GABLE, 0.3, (0, 0, 0)), "air", density, 2)
    scene = run(cloud(scan.xyz))
    assert len(scene.roofs) == 1
    assert kept(scene.roofs[0], scan.label >= 0) > 0.98


def test_a_drone_cloud_of_two_thousand_points_a_square_metre():
    scan = sense(GABLE, "drone", 2000.0, 3, margin_m=1.5)
    scene = run(cloud(scan.xyz))
    assert len(scene.roofs) == 1
    assert kept(scene.roofs[0], scan.label >= 0) > 0.999
    assert overlap(scene.roofs[0], GABLE.footprint) > 0.93


@pytest.mark.parametrize("gap_m", [1.0, 1.5])
@pytest.mark.parametrize("along", ["eaves", "rakes"])
@pytest.mark.parametrize(("sensor", "density"), [("air", 8.0), ("drone", 200.0)])
def test_houses_side_by_side_stay_two(sensor, density, along, gap_m):
    """Each keeps its own points and takes none of the other's, which lie nearer than the margin."""
    first, second = pair(gap_m, along=along)
    scan = sense(first, sensor, density, 4, around(neighbours=(second,)), margin_m=12.0)
    scene = run(cloud(scan.xyz))

    assert len(scene.roofs) == 2
    found = max(scene.roofs, key=lambda points: overlap(points, first.footprint))
    assert kept(found, scan.label >= 0) > 0.99
    assert np.mean(scan.label[found.indices] == NEIGHBOUR) < 0.01


@pytest.mark.parametrize(("sensor", "density"), [("air", 8.0), ("drone", 200.0)])
@pytest.mark.parametrize("side", ["eave", "rake"])
@pytest.mark.parametrize("pitch_deg", [1.5, 15.0])
def test_a_lower_roof_at_the_house_belongs_to_it(sensor, density, side, pitch_deg):
    roof = move(two_level(pitch_deg, side=side), 0.5, (0, 0, 0))
    scan = sense(roof, sensor, density, 5)
    scene = run(cloud(scan.xyz))
    assert len(scene.roofs) == 1
    for face in range(len(roof.planes)):
        assert kept(scene.roofs[0], scan.label == face) > 0.98


@pytest.mark.parametrize("walls", [False, True])
@pytest.mark.parametrize("pitch_deg", [2.0, 15.0])
def test_a_cut_cloud_takes_the_same_path(pitch_deg, walls):
    """No ground, two levels: nothing is lost, and the lower roof is not taken for ground."""
    roof = move(two_level(pitch_deg), 0.5, (0, 0, 0))
    scan = sense(roof, "drone", 150.0, 6)
    cut = (scan.label >= 0) | (walls & (scan.label == WALL))
    scene = run(cloud(scan.xyz[cut]))

    assert len(scene.roofs) == 1
    assert scene.roofs[0].ground_z_m is None
    assert [notice.code for notice in scene.notices] == ["no_ground"]
    assert kept(scene.roofs[0], scan.label[cut] >= 0) == 1.0


def test_two_cut_roofs_at_different_heights_stay_two():
    """The lower one, 3 m down and 2 m off, is neither ground nor context of the higher."""
    high = shapes.gable(length_m=12.0, span_m=8.0, pitch_rad=0.5, eave_z_m=6.0)
    low = move(shapes.gable(length_m=8.0, span_m=6.0, pitch_rad=0.5, eave_z_m=3.0), 0, (0.0, 9.8, 0.0))
    scan = sense(high, "air", 12.0, 19, around(neighbours=(low,)), margin_m=12.0)
    roof = (scan.label >= 0) | (scan.label == NEIGHBOUR) & (scan.xyz[:, 2] > 2.9)
    scene = run(cloud(scan.xyz[roof]))
    assert len(scene.roofs) == 2
    assert all(points.ground_z_m is None for points in scene.roofs)
    assert kept(scene.roofs[0], scan.label[roof] >= 0) > 0.99
    assert len(scene.roofs[0].context) == 0


@pytest.mark.parametrize("density", [2.0, 8.0, 300.0])
def test_a_roof_that_fills_the_cloud_is_kept_whole(density):
    """Its eaves are the lowest points there are, and are no ground."""
    scan = sense(GABLE, "air" if density < 100 else "drone", density, 7)
    roof = scan.label >= 0
    scene = run(cloud(scan.xyz[roof]))
    assert len(scene.roofs) == 1
    assert len(scene.roofs[0].xyz) == roof.sum()
    assert scene.roofs[0].ground_z_m is None


def test_a_strip_of_ground_a_metre_wide_is_ground():
    scan = sense(GABLE, "air", 10.0, 8, margin_m=1.0)
    scene = run(cloud(scan.xyz))
    assert scene.roofs[0].ground_z_m == pytest.approx(0, abs=0.15)
    assert np.mean(scan.label[scene.roofs[0].indices] == GROUND) < 0.01


@pytest.mark.parametrize(("sensor", "density"), [("air", 10.0), ("drone", 200.0)])
def test_a_tree_that_leans_on_a_house_on_a_slope(sensor, density):
    """Ground at 32 % and a crown over the corner: the house without most of the tree."""
    house = move(GABLE, 0.7, (0, 0, 0))
    scan = sense(house, sensor, density, 9, around(trees=[((3, 8, 4), 3.5, 3)], slope=(0.25, 0.2)))
    scene = run(cloud(scan.xyz))
    assert len(scene.roofs) == 1
    assert kept(scene.roofs[0], scan.label >= 0) > 0.97
    assert kept(scene.roofs[0], scan.label == TREE) < 0.3


@pytest.mark.parametrize(("sensor", "density"), [("air", 8.0), ("drone", 200.0)])
def test_an_eave_close_over_the_uphill_ground_is_kept(sensor, density):
    """Ground at 35 % across the house: the uphill eave hangs 1.2 m over it, lower than what else is kept."""
    scan = sense(GABLE, sensor, density, 20, around(slope=(0.0, 0.35)))
    scene = run(cloud(scan.xyz))
    uphill = (scan.label >= 0) & (scan.xyz[:, 1] > 3.6)
    assert kept(scene.roofs[0], uphill) > 0.98
    assert np.mean(scan.label[scene.roofs[0].indices] == GROUND) < 0.01


@pytest.mark.parametrize(("sensor", "density"), [("air", 8.0), ("drone", 150.0)])
def test_a_house_in_a_ring_of_trees(sensor, density):
    angles = np.arange(0, 6.2, 0.55)
    crowns = [((12 * np.cos(a), 9.5 * np.sin(a), 5), 3.0, 3.5) for a in angles]
    scan = sense(move(GABLE, 0.2, (0, 0, 0)), sensor, density, 10, around(trees=crowns), margin_m=8.0)
    scene = run(cloud(scan.xyz))
    assert len(scene.roofs) == 1
    assert kept(scene.roofs[0], scan.label >= 0) > 0.98
    assert kept(scene.roofs[0], scan.label == TREE) < 0.1


def test_a_terrestrial_scan_of_one_side():
    """Ground in front only, density falling with the square of the distance, half of the roof unseen."""
    house = move(GABLE, 0.7, (0, 0, 0))
    scan = sense(house, "drone", 500.0, 11, walls=1.0)
    front = scan.xyz[:, :2] @ (np.sin(0.7), -np.cos(0.7))
    distance = np.linalg.norm(scan.xyz - (0, -25, 1.7), axis=1)
    chance = np.random.default_rng(12).random(len(distance)) < 2 * (distance.min() / distance) ** 2
    seen = chance & (front > -0.2) & ((scan.label != GROUND) | (front > 4))
    scene = run(cloud(scan.xyz[seen]))
    assert len(scene.roofs) == 1
    assert kept(scene.roofs[0], scan.label[seen] >= 0) > 0.99
    assert np.mean(scan.label[seen][scene.roofs[0].indices] == GROUND) < 0.01


def test_a_terrace_beside_the_house_is_ground():
    """Ground that steps up by 2.6 m is level, larger than the house, and no roof."""
    scan = sense(move(GABLE, 0.7, (-20, -10, 0)), "air", 8.0, 13, margin_m=25.0)
    xyz = scan.xyz + np.where(scan.xyz[:, :1] > 0, (0, 0, 2.6), 0.0)
    scene = run(cloud(xyz))
    assert [round(points.area_m2, -1) for points in scene.roofs] == [110]


def test_stray_echoes_change_nothing():
    """Sixty high and deep strays over the scene, and one five kilometres off."""
    scan = sense(GABLE, "air", 8.0, 14)
    rng = np.random.default_rng(15)
    strays = np.column_stack([rng.uniform(-15, 15, (60, 2)), rng.uniform(-40, 60, 60)])
    scene = run(cloud(np.vstack([scan.xyz, strays, [[3000.0, -5000.0, 20.0]]])))
    assert len(scene.roofs) == 1
    assert kept(scene.roofs[0], scan.label >= 0) > 0.98


def _wrong(kind, scan):
    classes = scan.classes.copy()
    if kind == "all unclassified":
        classes[:] = 1
    elif kind == "half the roof vegetation":
        classes[(scan.label >= 0) & (scan.xyz[:, 0] > 0)] = 5
    elif kind == "ground as building":
        classes[scan.label == GROUND] = 6
    elif kind == "all ground":
        classes[:] = 2
    elif kind == "all noise":
        classes[:] = 7
    return classes


@pytest.mark.parametrize(
    "kind",
    [
        "right",
        "all unclassified",
        "half the roof vegetation",
        "ground as building",
        "all ground",
        "all noise",
    ],
)
def test_no_classification_loses_the_roof(kind):
    scan = sense(move(GABLE, 0.3, (0, 0, 0)), "air", 8.0, 16, around(trees=[((3, 6.5, 4), 3.0, 3)]))
    scene = run(cloud(scan.xyz, _wrong(kind, scan)))
    assert len(scene.roofs) == 1
    assert kept(scene.roofs[0], scan.label >= 0) > 0.97
    assert np.mean(scan.label[scene.roofs[0].indices] == GROUND) < 0.01


def test_points_filed_as_vegetation_are_left_out_when_the_classes_are_right():
    scan = sense(move(GABLE, 0.3, (0, 0, 0)), "air", 8.0, 16, around(trees=[((3, 6.5, 4), 3.0, 3)]))
    without, with_classes = run(cloud(scan.xyz)), run(cloud(scan.xyz, scan.classes))
    assert np.sum(scan.label[without.roofs[0].indices] == TREE) > 5
    assert np.sum(scan.label[with_classes.roofs[0].indices] == TREE) <= 2


def test_noise_classes_are_left_out():
    """ASPRS codes 7 and 18 (LAS 1.4 R15, table 17) are low and high noise."""
    scan = sense(GABLE, "air", 8.0, 17)
    classes = scan.classes.copy()
    classes[np.flatnonzero(scan.label >= 0)[::10]] = 18
    found = run(cloud(scan.xyz, classes)).roofs[0]
    assert not (classes[found.indices] == 18).any()


def test_context_is_near_low_and_thin():
    """Contract of RoofPoints.context: what lies lower within 3 m, at most about 20 points a square metre."""
    scan = sense(GABLE, "drone", 400.0, 18, margin_m=8.0)
    found = run(cloud(scan.xyz)).roofs[0]
    edge = GABLE.footprint
    out = edge.buffer(3.5).bounds
    assert (found.context[:, 0] > out[0]).all() and (found.context[:, 1] < out[3]).all()
    assert found.context[:, 2].max() < 2.0
    area_m2 = edge.buffer(3.0).area - edge.area
    on_ground = found.context[found.context[:, 2] < 0.3]
    assert 5 < len(on_ground) / area_m2 < 45
    assert not (set(map(tuple, found.context)) & set(map(tuple, found.xyz)))
