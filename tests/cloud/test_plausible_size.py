"""Sizes that make no sense in their unit, with the likely unit named.  The numbers are of invented houses."""

import numpy as np
import pytest
from cloud_files import house_points, write_ply

from slopewright.cloud import check_house_size, read_cloud
from slopewright.errors import InputError
from slopewright.units import METRES_PER_UNIT


def scene(side, relief, n=2000):
    """Terrain of a given side and relief, metres: a slope across the whole with a house on it."""
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, side, (2, n))
    return np.stack([x, y, relief * x / side], axis=1)


@pytest.mark.parametrize(
    ("factor", "unit", "size", "advice"),
    [
        (1000, "m", r"11,8\d\d x 7,9\d\d x 4,9\d\d m", r"likely mm: need it converted to m, ft or us-ft"),
        (0.1, "m", r"1\.19 x 0\.79\d x 0\.49\d m", "need a cloud to scale, in m, ft or us-ft"),
        (0.3048 / 2, "ft", r".* m", "need a cloud to scale, in m, ft or us-ft"),
    ],
)  # fmt: skip
def test_a_house_in_the_wrong_unit(tmp_path, factor, unit, size, advice):
    path = write_ply(tmp_path / "a.ply", house_points(2000) * factor, form="binary_little_endian")
    with pytest.raises(InputError, match=rf"^a\.ply: {size} in unit {unit} holds no house, {advice}$"):
        read_cloud(path, unit=unit)


def test_a_small_porch_in_metres_read_as_feet_is_likely_metres(tmp_path):
    """6 x 4 x 2.5 m is 1.8 x 1.2 x 0.76 m if taken for feet."""
    path = write_ply(tmp_path / "a.ply", house_points(2000) / 2)
    with pytest.raises(InputError, match=r"in unit ft holds no house, likely m: need --unit m$"):
        read_cloud(path, unit="ft")


@pytest.mark.parametrize("unit", ["m", "ft"])
def test_longitude_and_latitude_are_told_from_their_size(tmp_path, unit):
    xyz = house_points(2000, shift=(0, 0, 200)) * [1e-5, 1e-5, 1] + [-82.9, 39.9, 0]
    path = write_ply(tmp_path / "a.ply", xyz, form="binary_little_endian")
    message = r"^a\.ply: x and y look like degrees, need a projected grid in m, ft or us-ft$"
    with pytest.raises(InputError, match=message):
        read_cloud(path, unit=unit)


@pytest.mark.parametrize(
    ("side", "relief"), [(30_000, 50), (5_000, 2_500), (400, 300)], ids=["county", "summit", "wall"]
)
def test_scenes_that_make_no_sense(tmp_path, side, relief):
    path = write_ply(tmp_path / "a.ply", scene(side, relief), form="binary_little_endian")
    with pytest.raises(InputError, match=r"^a\.ply: .* in unit m holds no house, "):
        read_cloud(path, unit="m")


@pytest.mark.parametrize(
    ("side", "relief"), [(15, 8), (60, 20), (500, 40), (1_000, 400), (5_000, 900), (150, 140)]
)
def test_scenes_that_do_are_read(tmp_path, side, relief):
    """A cut house, a garden, a street, an alpine tile, a lidar tile, a tower block."""
    path = write_ply(tmp_path / "a.ply", scene(side, relief), form="binary_little_endian")
    assert len(read_cloud(path, unit="m").xyz) == 2000


@pytest.mark.parametrize("where", [(0, 0, 9000), (-7e5, -6e6, 0), (0, 2e3, 0)])
def test_a_few_stray_points_are_left_out_and_told(tmp_path, where):
    """Zeros among map coordinates, a bird, an echo: they would set the origin and the extent."""
    xyz = scene(60, 20) + np.array([7e5, 6e6, 100])
    xyz[5:8] += where
    cloud = read_cloud(write_ply(tmp_path / "a.ply", xyz, form="binary_little_endian"), unit="m")
    np.testing.assert_allclose(cloud.xyz + cloud.origin, np.delete(xyz, [5, 6, 7], axis=0))
    assert cloud.xyz.max() < 61
    assert [n.text for n in cloud.notices] == ["3 points more than 1 km away from all others left out"]


def test_points_some_way_off_are_no_strays(tmp_path):
    xyz = scene(60, 20)
    xyz[5:8] += [300, 0, 500]
    cloud = read_cloud(write_ply(tmp_path / "a.ply", xyz), unit="m")
    assert (len(cloud.xyz), cloud.notices) == (2000, ())


HOUSES = [
    ((14.0, 9.0), 7.5),
    ((8.0, 6.0), 4.0),
    ((54.8, 15.8), 17.9),
    ((120.0, 60.0), 12.0),
    ((30.0, 20.0), 0.1),
]


@pytest.mark.parametrize(("extent", "height"), HOUSES)
@pytest.mark.parametrize("unit", ["m", "ft", "us-ft"])
def test_houses_pass(extent, height, unit):
    """A detached house, a cottage, a long hip roof, a hall, a flat roof cut without ground."""
    check_house_size(extent, height, unit)


@pytest.mark.parametrize(
    ("extent", "height", "true", "taken", "likely"),
    [
        ((12.0, 9.0), 7.0, "mm", "m", "likely mm: need it converted"),
        ((12.0, 9.0), 7.0, "cm", "m", "likely cm: need it converted"),
        ((14.0, 10.0), 8.0, "in", "m", "likely in: need it converted"),
        ((54.8, 15.8), 17.9, "ft", "m", "likely ft: need --unit ft"),
        ((9.0, 8.0), 6.0, "m", "ft", "likely m: need --unit m"),
        ((9.0, 8.0), 6.0, "m", "us-ft", "likely m: need --unit m"),
        ((12.0, 9.0), 7.0, "m", "ft", "likely m: need --unit m"),  # 3.7 x 2.7 x 2.1 m: nobody stands in it
    ],
)
def test_houses_in_the_wrong_unit_are_refused_with_the_likely_one(extent, height, true, taken, likely):
    """Oracle: the definitions of the units; a house of this size, written in one, read as another."""
    metres = METRES_PER_UNIT | {"in": 0.0254, "cm": 0.01, "mm": 0.001}
    factor = METRES_PER_UNIT[taken] / metres[true]
    with pytest.raises(InputError, match=rf"in unit {taken} is no house, {likely}"):
        check_house_size((extent[0] * factor, extent[1] * factor), height * factor, taken)


@pytest.mark.parametrize(
    ("extent", "height"),
    [
        ((2.0, 1.0), 3.0),
        ((200.0, 90.0), 10.0),
        ((20.0, 20.0), 100.0),
        ((100.0, 60.0), 80.0),
        ((5.0, 5.0), 20.0),
    ],
)
def test_what_is_no_house_in_any_case_is_refused(extent, height):
    """A kennel, a stadium, two towers, a mast."""
    with pytest.raises(InputError, match=r"^r1: .* in unit m is no house, .*need "):
        check_house_size(extent, height, "m", name="r1")
