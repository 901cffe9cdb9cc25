"""Which roof is measured: at a position, in a footprint, or the largest near the middle."""

import numpy as np
import pytest
import shapely
from isolate_scenes import around, cloud, kept, overlap, pair, sense

from simulate import bare, move, shapes
from slopewright.errors import InputError
from slopewright.isolate import IsolateConfig, run
from slopewright.scene import Cloud

FIRST, SECOND = pair(3.0, along="eaves")
SCAN = sense(FIRST, "air", 8.0, 1, around(neighbours=(SECOND,)), margin_m=14.0)
CLOUD = cloud(SCAN.xyz)
BEYOND = (60.0, 0.0)


def _chosen(**how):
    scene = run(CLOUD, **how)
    return scene.roofs[scene.chosen], scene


def _inside(roof):
    point = roof.footprint.representative_point()
    return point.x, point.y


@pytest.mark.parametrize("roof", [FIRST, SECOND])
def test_a_position_chooses_the_roof_it_lies_in(roof):
    chosen, scene = _chosen(at=_inside(roof))
    assert overlap(chosen, roof.footprint) > 0.9
    assert [notice.code for notice in scene.notices] == ["other_roofs"]


def test_a_position_beside_a_roof_chooses_the_nearest():
    west = FIRST.footprint.bounds[0] - 2.0
    y = FIRST.footprint.centroid.y
    chosen, _ = _chosen(at=(west, y))
    assert overlap(chosen, FIRST.footprint) > 0.9


def test_a_position_far_from_any_roof_names_the_nearest():
    """In the coordinates and the unit of the file: those named choose the roof when given back."""
    in_feet = Cloud(xyz=SCAN.xyz.copy(), origin=np.array([1000.0, 2000.0, 0.0]), name="f.laz", unit="ft")
    with pytest.raises(InputError, match=r"^f\.laz: --at 3477\.69 6561\.68: no roof within 16 ft") as caught:
        run(in_feet, at=BEYOND)
    text = str(caught.value)
    x, y = text.split("nearest are at ")[1].split(" (")[0].split()
    at = (float(x) * 0.3048 - 1000, float(y) * 0.3048 - 2000)
    scene = run(in_feet, at=at)
    assert shapely.Polygon(scene.roofs[scene.chosen].footprint).contains(shapely.Point(at))


def test_a_footprint_chooses_and_outranks_our_outline():
    """Half of the house is asked for: its points within the margin, and the outline that was given."""
    centre = FIRST.footprint.centroid
    half = FIRST.footprint.intersection(shapely.box(centre.x, centre.y - 50, centre.x + 50, centre.y + 50))
    chosen, _ = _chosen(footprint=half)
    margin_m = IsolateConfig().margin_m
    assert shapely.Polygon(chosen.footprint).equals_exact(shapely.normalize(half).normalize(), 1e9)
    assert chosen.area_m2 == pytest.approx(half.area)
    assert shapely.contains_xy(half.buffer(margin_m + 0.01), *chosen.xyz[:, :2].T).all()
    asked = (SCAN.label >= 0) & shapely.contains_xy(half, *SCAN.xyz[:, :2].T)
    assert kept(chosen, asked) == 1.0


def test_a_parcel_only_chooses():
    """A polygon much larger than the house is no outline of it: ours stays."""
    parcel = FIRST.footprint.buffer(12.0).difference(SECOND.footprint.buffer(1.0))
    chosen, _ = _chosen(footprint=shapely.Polygon(parcel.exterior))
    assert overlap(chosen, FIRST.footprint) > 0.9


def test_a_footprint_without_a_roof_names_the_nearest():
    with pytest.raises(
        InputError, match=r"--footprint around 60\.00 -?0\.00: no roof in it; the nearest are at"
    ):
        run(CLOUD, footprint=shapely.Point(BEYOND).buffer(5.0))


def test_position_and_footprint_together_are_refused():
    with pytest.raises(InputError, match="both given, need one"):
        run(CLOUD, at=(0.0, 0.0), footprint=FIRST.footprint)


@pytest.mark.parametrize("at", [(np.nan, 0.0), (0.0, np.inf)])
def test_a_position_that_is_no_number_is_refused(at):
    with pytest.raises(InputError, match="need two finite numbers"):
        run(CLOUD, at=at)


def test_the_largest_near_the_middle_is_taken_unasked():
    """A house of 96 m² in the middle outranks a hall of 300 m² at the scene's edge; r1 is the larger."""
    house = shapes.gable(length_m=12.0, span_m=8.0, pitch_rad=0.5)
    hall = move(shapes.gable(length_m=25.0, span_m=12.0, pitch_rad=0.3), 0, (0.0, 48.0, 0.0))
    scan = sense(house, "air", 4.0, 2, around(neighbours=(hall,)), margin_m=56.0)
    scene = run(cloud(scan.xyz))
    assert overlap(scene.roofs[0], hall.footprint) > 0.85
    assert scene.chosen == 1
    (notice,) = scene.notices
    assert notice.about == ("r1",)
    assert "2 roofs found, r2 measured (the largest near the middle)" in notice.text
    assert "--at X Y" in notice.text


def test_a_level_slab_with_a_footprint_is_taken_at_its_word():
    """Without ground it could be a floor; whoever gives its outline says that it is a roof."""
    xy = np.random.default_rng(3).uniform(-5, 5, (4000, 2))
    slab = cloud(np.column_stack([xy, np.random.default_rng(4).normal(0, 0.02, 4000)]))
    scene = run(slab, footprint=shapely.box(-5, -5, 5, 5))
    assert scene.roofs[0].area_m2 == pytest.approx(100)


def test_ids_go_by_decreasing_area():
    scene = run(CLOUD)
    areas = [roof.area_m2 for roof in scene.roofs]
    assert areas == sorted(areas, reverse=True)
    assert [roof.id for roof in scene.roofs] == ["r1", "r2"]


def test_outlines_are_counter_clockwise_and_open():
    """Shoelace: positive for counter-clockwise."""
    for roof in run(CLOUD).roofs:
        x, y = roof.footprint.T
        assert np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2 == pytest.approx(roof.area_m2)
        assert not np.array_equal(roof.footprint[0], roof.footprint[-1])


@pytest.mark.parametrize("field", ["height_min_m", "area_min_m2", "window_m", "context_per_m2"])
def test_config_refuses_what_is_not_positive(field):
    with pytest.raises(InputError, match=f"isolate.{field}: 0"):
        IsolateConfig(**{field: 0})


def test_bare_ground_beside_the_house_gives_no_other_roof():
    scan = sense(FIRST, "air", 8.0, 5, bare(FIRST), margin_m=20.0)
    assert run(cloud(scan.xyz)).notices == ()
