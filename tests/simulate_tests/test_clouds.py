"""The simulated sensors: their noise, density and edges against what their parameters say."""

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from scipy.stats import norm

from simulate import (
    airborne,
    bare,
    cloud_of,
    draw_surroundings,
    move,
    photogrammetry,
    random_roof,
    roof_points_of,
    shapes,
)
from simulate.fields import smooth_field
from simulate.surroundings import CAR, CHIMNEY, GROUND, NEIGHBOUR, TREE, WALL

HOUSE = shapes.cross_gable(length_m=12, span_m=8, pitch_rad=0.5, wing_span_m=6, wing_projection_m=3)
GABLE = shapes.gable(length_m=10, span_m=8, pitch_rad=0.5)
NO_NOISE = {"noise_m": 0.0, "strip_lift_m": 0.0, "strip_shift_m": 0.0, "beam_m": 1e-6}
SHARP = {"noise_m": 0.0, "bleed_m": 0.0, "round_m": 0.0, "skirts": 0.0, "holes": 0.0}


def residuals(roof, cloud):
    """Distance of each roof point from its true plane [m], and its face."""
    on = cloud.label >= 0
    normals = np.array([p.normal for p in roof.planes])[cloud.label[on]]
    offsets = np.array([p.offset for p in roof.planes])[cloud.label[on]]
    return (cloud.xyz[on] * normals).sum(axis=1) - offsets, cloud.label[on]


@pytest.mark.parametrize(("scan", "options"), [(airborne, NO_NOISE), (photogrammetry, SHARP)])
def test_without_noise_points_lie_on_their_face(scan, options):
    for kind in ("hip", "two_level", "gable_dormer"):
        roof = random_roof(kind, np.random.default_rng(2))
        cloud = scan(roof, np.random.default_rng(0), margin_m=1.0, **options)
        distance, _ = residuals(roof, cloud)
        assert np.abs(distance).max() < 1e-6
        for k, plane in enumerate(roof.planes):
            points = cloud.xyz[cloud.label == k]
            assert len(points) > 0
            assert shapely.contains_xy(plane.plan.buffer(1e-6), *points[:, :2].T).all()


def test_walls_stand_between_ground_and_roof():
    cloud = photogrammetry(HOUSE, np.random.default_rng(0), **SHARP)
    walls = cloud.xyz[cloud.label == WALL]
    edge = HOUSE.footprint.buffer(-0.4, join_style="mitre").exterior
    assert len(walls) > 1000
    assert shapely.distance(shapely.points(walls[:, :2]), edge).max() < 1e-3
    assert walls[:, 2].min() > -0.01 and walls[:, 2].max() < max(p.outer[:, 2].max() for p in HOUSE.planes)


@pytest.mark.parametrize("density", [4.0, 25.0])
def test_airborne_density_is_as_asked(density):
    """2 % of the pulses are lost; the standard error of the count is well under 1 % on a regular scan."""
    cloud = airborne(GABLE, np.random.default_rng(1), density=density, margin_m=10, **NO_NOISE)
    x0, y0, x1, y1 = GABLE.footprint.bounds
    area = (x1 - x0 + 20) * (y1 - y0 + 20)
    assert len(cloud.xyz) / area == pytest.approx(0.98 * density, rel=0.04)


def test_airborne_noise_has_the_size_asked_for():
    """Oracle: mean square over clouds = noise² across (lift, shift and edges off) and cos² of the pitch."""
    squares = []
    for seed in range(30):
        options = NO_NOISE | {"noise_m": 0.06, "margin_m": 1.0}
        cloud = airborne(GABLE, np.random.default_rng(seed), **options)
        distance, _ = residuals(GABLE, cloud)
        squares.append((distance**2).mean())
    assert np.sqrt(np.mean(squares)) / math.cos(0.5) == pytest.approx(0.06, rel=0.06)


def test_averaging_a_face_does_not_remove_the_common_noise():
    """Oracle: variance of a mean = mean covariance of its pairs of points, of which the white part is 1/n.
    120 draws: standard error 13 %; the white part alone would be 4 to 5 times too small."""
    options = NO_NOISE | {"noise_m": 0.06, "correlated": 0.3, "correlation_m": 1.0, "looks_rad": [0.0]}
    means = []
    for seed in range(120):
        cloud = airborne(GABLE, np.random.default_rng(seed), margin_m=0.3, **options)
        distance, face = residuals(GABLE, cloud)
        means.append(distance[face == 0].mean() / math.cos(0.5))
    points = cloud.xyz[cloud.label == 0]
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    common = 0.3 * np.exp(-apart / 1.0).mean()
    white = 0.7 / len(points)
    assert common > 3 * white
    assert np.var(means) == pytest.approx(0.06**2 * (common + white), rel=0.4)


@pytest.mark.parametrize("smoothness", [0.5, 1.5])
def test_field_has_the_matern_covariance(smoothness):
    """Oracle: exp(-r) and (1 + sqrt(3) r) exp(-sqrt(3) r) at r in lengths; 4000 draws, s.e. 0.016."""
    lags = np.array([0.0, 0.5, 1.0, 2.0])
    points = np.column_stack([2.0 * lags, np.zeros(4), np.zeros(4)])
    rng = np.random.default_rng(5)
    fields = np.array([smooth_field(points, rng, length_m=2.0, smoothness=smoothness) for _ in range(4000)])
    covariance = (fields[:, :1] * fields).mean(axis=0)
    root = math.sqrt(3) * lags
    expected = np.exp(-lags) if smoothness == 0.5 else (1 + root) * np.exp(-root)
    np.testing.assert_allclose(covariance, expected, atol=0.06)


@pytest.mark.parametrize("detect", [0.15, 0.3, 0.5])
def test_a_faint_threshold_makes_roofs_larger(detect):
    """Oracle: a Gaussian beam of 1/e² diameter d has sigma d / 4 across an edge: the share `detect` of it
    is still on the roof when its axis is sigma * Phi^-1(1 - detect) outside.  One seed, the same pulses."""
    shed = shapes.shed(length_m=11, span_m=11, pitch_rad=0.2, overhang_m=0.5, eave_z_m=5.0)
    counts = {}
    for beam_m in (1e-6, 0.4):
        options = NO_NOISE | {"beam_m": beam_m, "detect": detect, "looks_rad": [0.1], "margin_m": 1.0}
        clouds = [airborne(shed, np.random.default_rng(seed), density=120, **options) for seed in range(4)]
        counts[beam_m] = np.mean([(cloud.label == 0).sum() for cloud in clouds])
    outward_m = (counts[0.4] / counts[1e-6] - 1) * 144 / 48
    assert outward_m == pytest.approx(0.4 / 4 * norm.ppf(1 - detect), abs=0.012)


def test_beams_on_an_edge_give_returns_from_both_sides():
    """With a high threshold for both, the ground inside the eave's line is hit beside the roof above it."""
    cloud = airborne(
        GABLE, np.random.default_rng(3), density=60, detect=0.3, beam_m=0.4, noise_m=0, looks_rad=[0.0]
    )
    ground = cloud.xyz[cloud.label == GROUND]
    inside = shapely.contains_xy(GABLE.footprint.buffer(-0.02), *ground[:, :2].T)
    assert 20 < inside.sum() < 2000
    assert shapely.distance(shapely.points(ground[inside, :2]), GABLE.footprint.exterior).max() < 0.3


def test_a_pulse_of_two_returns_has_a_first_above_a_last():
    """Definition (LAS 1.4 R15): both carry the number of returns; first comes nearer to the aircraft."""
    options = NO_NOISE | {"beam_m": 0.4}
    cloud = airborne(GABLE, np.random.default_rng(3), density=60, detect=0.3, **options)
    assert cloud.n_returns is not None and cloud.return_number is not None
    assert set(np.unique(cloud.n_returns)) == {1, 2}
    assert (cloud.return_number <= cloud.n_returns).all()
    first = (cloud.n_returns == 2) & (cloud.return_number == 1)
    last = (cloud.n_returns == 2) & (cloud.return_number == 2)
    assert first.sum() == last.sum() > 200
    assert (cloud.label[first] >= 0).all() and (cloud.label[last] == GROUND).mean() > 0.7
    edge = shapely.distance(shapely.points(cloud.xyz[first, :2]), GABLE.footprint.exterior)
    assert edge.max() < 0.3
    points = roof_points_of(cloud, GABLE)
    np.testing.assert_array_equal(points.n_returns, cloud.n_returns[points.indices])


def test_a_tilted_view_leaves_a_shadow_on_the_ground():
    """Oracle: behind an eave 3 m up, seen at 15 degrees, 3 tan 15 = 0.80 m of ground are hidden."""
    roof = shapes.hip(length_m=12, span_m=12, pitch_rad=0.2, overhang_m=0.0, eave_z_m=3.0)
    cloud = airborne(
        roof, np.random.default_rng(0), density=60, looks_rad=[math.radians(15)], margin_m=4, **NO_NOISE
    )
    ground = cloud.xyz[cloud.label == GROUND]
    around = roof.footprint.buffer(4, join_style="mitre").area - 144
    shadow = around - len(ground) / (0.98 * 60)
    walls = (cloud.label == WALL).sum()
    # the shadow of a square seen at any turn is 12 (|cos| + |sin|) wide
    assert 12 * 0.80 * 0.9 < shadow < 12 * math.sqrt(2) * 0.80 * 1.15
    assert walls > 50


def test_photogrammetry_noise_has_the_size_asked_for():
    squares = []
    for seed in range(12):
        cloud = photogrammetry(
            GABLE, np.random.default_rng(seed), density=60, **{**SHARP, "noise_m": 0.02}, uneven=0.0
        )
        distance, _ = residuals(GABLE, cloud)
        squares.append((distance**2).mean())
    assert np.sqrt(np.mean(squares)) == pytest.approx(0.02, rel=0.1)


def test_faces_differ_in_their_noise():
    """Oracle: the log of the ratio of two faces' noise scatters by sqrt(2) uneven and the field's own."""
    ratios = {}
    for uneven in (0.0, 0.5):
        logs = []
        for seed in range(25):
            cloud = photogrammetry(
                GABLE,
                np.random.default_rng(seed),
                density=40,
                margin_m=0.5,
                **{**SHARP, "noise_m": 0.02},
                uneven=uneven,
            )
            distance, face = residuals(GABLE, cloud)
            logs.append(np.log(distance[face == 0].std() / distance[face == 1].std()))
        ratios[uneven] = np.var(logs)
    assert ratios[0.5] - ratios[0.0] == pytest.approx(2 * 0.5**2, rel=0.6)


def test_surfaces_bleed_past_their_edges_by_the_mean_asked_for():
    """Oracle: added area over perimeter; growth is 1 + 0.6 field, cut at 0, mean 1.006."""
    perimeter = GABLE.footprint.exterior.length
    grown = []
    for seed in range(4):
        cloud = photogrammetry(
            GABLE,
            np.random.default_rng(seed),
            density=900,
            **{**SHARP, "bleed_m": 0.04},
            walls=0.0,
            margin_m=0.3,
        )
        grown.append((cloud.label >= 0).sum() / 900 - GABLE.plan_area_m2)
    assert np.mean(grown) / perimeter == pytest.approx(0.04, abs=0.006)


def test_ridges_are_rounded_down_and_valleys_up():
    """Oracle: a box of half-width h over |x| has the mean h / 2 at 0: here times the slope, tan 0.5."""
    cloud = photogrammetry(
        HOUSE, np.random.default_rng(0), density=2500, **{**SHARP, "round_m": 0.2}, margin_m=0.1
    )
    at = np.abs(cloud.xyz[:, 1]) < 0.01  # on the main ridge's line
    at &= (cloud.label >= 0) & (np.abs(cloud.xyz[:, 0]) > 4)
    top = max(p.outer[:, 2].max() for p in HOUSE.planes)
    assert at.sum() > 50
    assert top - cloud.xyz[at, 2].mean() == pytest.approx(0.1 * math.tan(0.5), rel=0.06)
    distance, _ = residuals(HOUSE, cloud)
    assert distance.max() > 0.03 and distance.min() < -0.03


def test_holes_take_the_share_asked_for():
    full = photogrammetry(GABLE, np.random.default_rng(0), holes=0.0)
    holey = photogrammetry(GABLE, np.random.default_rng(0), holes=0.1)
    assert len(holey.xyz) / len(full.xyz) == pytest.approx(0.9, abs=0.005)


def test_skirts_hang_below_the_eaves():
    cloud = photogrammetry(
        GABLE, np.random.default_rng(0), **{**SHARP, "skirts": 0.5}, walls=0.0, density=900
    )
    skirts = cloud.xyz[cloud.label == WALL]
    assert len(skirts) > 100
    outline = GABLE.footprint.exterior
    assert shapely.distance(shapely.points(skirts[:, :2]), outline).max() < 0.07
    assert skirts[:, 2].min() > 2.0


@pytest.mark.parametrize("scan", [airborne, photogrammetry])
def test_a_scene_has_everything_that_was_asked_for(scan):
    rng = np.random.default_rng(8)
    things = draw_surroundings(HOUSE, rng, tree_over_corner=True, trees=1)
    cloud = scan(HOUSE, rng, density=50, margin_m=9, surroundings=things)
    counts = {label: int((cloud.label == label).sum()) for label in np.unique(cloud.label)}
    assert {GROUND, WALL, TREE, CHIMNEY, NEIGHBOUR, CAR} < set(counts)
    assert things.neighbours[0].footprint.distance(HOUSE.footprint) > 3
    crown = things.trees[0]
    assert HOUSE.footprint.distance(shapely.Point(crown.centre[:2])) < crown.radius_m
    chimney = cloud.xyz[cloud.label == CHIMNEY]
    on_roof = shapely.contains_xy(HOUSE.footprint.buffer(0.5), *chimney[:, :2].T)
    assert on_roof.all()


def test_sloping_ground_slopes():
    """Oracle: a plane fitted to the ground has the tangent asked for; bumps add little."""
    things = draw_surroundings(GABLE, np.random.default_rng(0), neighbours=0, ground_slope=0.1)
    cloud = airborne(GABLE, np.random.default_rng(1), surroundings=things)
    ground = cloud.xyz[cloud.label == GROUND]
    matrix = np.column_stack([ground[:, :2], np.ones(len(ground))])
    slope = np.linalg.lstsq(matrix, ground[:, 2], rcond=None)[0][:2]
    assert np.hypot(*slope) == pytest.approx(0.1, abs=0.01)


@pytest.mark.parametrize("scan", [airborne, photogrammetry])
def test_the_same_generator_gives_the_same_cloud(scan):
    one, two = (scan(GABLE, np.random.default_rng(4), density=10) for _ in range(2))
    other = scan(GABLE, np.random.default_rng(5), density=10)
    np.testing.assert_array_equal(one.xyz, two.xyz)
    assert not np.array_equal(one.xyz[:100], other.xyz[:100])


def test_a_higher_site_lifts_everything():
    """The same draw on ground 50 m higher: the same roof 50 m higher, to the rounding of the waves."""
    high = move(GABLE, 0.0, (0.0, 0.0, 50.0))
    low_cloud = airborne(GABLE, np.random.default_rng(4), surroundings=bare(GABLE))
    high_cloud = airborne(high, np.random.default_rng(4), surroundings=bare(high))
    np.testing.assert_array_equal(low_cloud.label, high_cloud.label)
    on = low_cloud.label >= 0
    np.testing.assert_allclose(high_cloud.xyz[on] - (0, 0, 50), low_cloud.xyz[on], atol=1e-4)


def test_classes_are_those_of_the_standard():
    """Oracle: ASPRS LAS 1.4 R15, table 17: 1 unclassified, 2 ground, 5 high vegetation, 6 building."""
    things = draw_surroundings(HOUSE, np.random.default_rng(8))
    cloud = airborne(HOUSE, np.random.default_rng(8), surroundings=things)
    for label, code in ((GROUND, 2), (TREE, 5), (0, 6), (CAR, 1)):
        assert set(cloud.classes[cloud.label == label].tolist()) == {code}
    assert cloud_of(cloud).classes is None and cloud_of(cloud, classified=True).classes is not None


def test_roof_points_are_the_roof_and_what_stands_on_it():
    things = draw_surroundings(HOUSE, np.random.default_rng(8))
    cloud = airborne(HOUSE, np.random.default_rng(8), surroundings=things)
    cut = roof_points_of(cloud, HOUSE)
    np.testing.assert_array_equal(cut.xyz, cloud.xyz[cut.indices])
    taken = cloud.label[cut.indices]
    assert (taken >= 0).sum() > 0.99 * (cloud.label >= 0).sum()
    assert not np.isin(taken, [GROUND, NEIGHBOUR, CAR]).any()
    assert (roof_points_of(cloud, HOUSE, only_roof=True).xyz.shape[0]) == (cloud.label >= 0).sum()
    assert cut.area_m2 == pytest.approx(HOUSE.plan_area_m2, abs=1e-3)
    ring = cut.footprint
    assert sum(np.cross(a, b) for a, b in pairwise(np.column_stack([ring, np.zeros(len(ring))])))[2] > 0
