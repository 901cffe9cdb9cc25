"""What is no cloud to measure is refused in one line that names the file and the way out."""

import os
import random

import laspy
import numpy as np
import pytest
from cloud_files import cartesian_fields, house_points, write_e57, write_las, write_pcd, write_ply, write_text

from slopewright.cloud import read_cloud
from slopewright.errors import DegenerateGeometryError, InputError

FORMATS = r"LAS, LAZ, COPC, PLY, PCD, E57, XYZ/CSV text"


def test_a_missing_file(tmp_path):
    with pytest.raises(InputError, match=rf"^gone\.laz: no such file, need a cloud file \({FORMATS}\)$"):
        read_cloud(tmp_path / "gone.laz")


def test_a_folder(tmp_path):
    (tmp_path / "scans").mkdir()
    with pytest.raises(InputError, match=r"^scans: a folder, need one cloud file"):
        read_cloud(tmp_path / "scans")


@pytest.mark.parametrize("name", ["a.las", "a.ply", "a.csv", "a.e57", "a.pcd"])
def test_an_empty_file(tmp_path, name):
    (tmp_path / name).touch()
    with pytest.raises(InputError, match=rf"^{name}: empty file, need a cloud file"):
        read_cloud(tmp_path / name)


@pytest.mark.parametrize(
    "head", [b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", b"PK\x03\x04\x14\0", b"\xff\xd8\xff\xe0\0\x10JFIF"]
)
def test_a_file_of_something_else(tmp_path, head):
    (tmp_path / "a.las").write_bytes(head + bytes(500))
    with pytest.raises(InputError, match=rf"^a\.las: not a point cloud we know, need {FORMATS}$"):
        read_cloud(tmp_path / "a.las")


def test_the_content_counts_not_the_extension(tmp_path):
    xyz = house_points()
    for path in (
        write_las(tmp_path / "a.ply", xyz),
        write_ply(tmp_path / "a.las", xyz, form="binary_big_endian"),
        write_pcd(tmp_path / "a.e57", xyz, data="binary"),
        write_e57(
            tmp_path / "a.txt",
            [{"fields": cartesian_fields(xyz)}],
        ),
        write_text(tmp_path / "a.laz", [" ".join(map(repr, row)) for row in xyz.tolist()]),
    ):
        cloud = read_cloud(path, unit="m")
        assert (len(cloud.xyz), cloud.name) == (400, path.name)


@pytest.mark.parametrize("n", [0, 1, 10, 49])
def test_too_few_points(tmp_path, n):
    path = write_ply(tmp_path / "a.ply", house_points(100)[:n], form="binary_little_endian", faces=False)
    with pytest.raises(InputError, match=rf"^a\.ply: {n} points, need at least 50$"):
        read_cloud(path, unit="m")


def test_fifty_points_are_enough(tmp_path):
    assert len(read_cloud(write_ply(tmp_path / "a.ply", house_points(50)), unit="m").xyz) == 50


@pytest.mark.parametrize("direction", [(0, 0, 0), (1, 0, 0), (0, 0, 1), (3, -2, 1)])
def test_points_on_a_line(tmp_path, direction):
    xyz = np.outer(np.linspace(0, 10, 200), direction) + np.array([5e5, 5e6, 100])
    message = r"^a\.ply: all points lie on a line, need points spread over a roof$"
    with pytest.raises(DegenerateGeometryError, match=message):
        read_cloud(write_ply(tmp_path / "a.ply", xyz, form="binary_little_endian"), unit="m")


def test_points_on_a_plane_are_no_line(tmp_path):
    xyz = house_points() * [1, 1, 0]
    assert len(read_cloud(write_ply(tmp_path / "a.ply", xyz), unit="m").xyz) == 400


@pytest.mark.parametrize("value", [1e12, -1e300])
def test_coordinates_beyond_the_earth(tmp_path, value):
    xyz = house_points()
    xyz[7, 1] = value
    with pytest.raises(InputError, match=r"^a\.ply: coordinates up to 1e\+\d+, need coordinates on Earth$"):
        read_cloud(write_ply(tmp_path / "a.ply", xyz, form="binary_little_endian"), unit="m")


def test_a_damaged_scale_makes_no_number(tmp_path):
    path = write_las(tmp_path / "a.las", house_points())
    data = bytearray(path.read_bytes())
    data[131:139] = np.array([np.nan]).tobytes()
    path.write_bytes(data)
    message = r"^a\.las: 400 points with NaN or infinite coordinates \(first: point 1\), need them removed$"
    with pytest.raises(InputError, match=message):
        read_cloud(path, unit="m")


def test_classes_of_a_format_that_has_none(tmp_path):
    with pytest.raises(
        InputError, match=r"^a\.ply: classes to keep were given but the format has none, need LAS"
    ):
        read_cloud(write_ply(tmp_path / "a.ply", house_points()), unit="m", keep=(6,))


def laz_file(path):
    las = laspy.create(file_version="1.4", point_format=6)
    las.header.scales = [0.001] * 3
    las.x, las.y, las.z = house_points().T
    las.write(str(path))
    return path


WRITERS = {
    "a.las": lambda path: write_las(path, house_points(), minor=4, point_format=7),
    "a.laz": laz_file,
    "a.ply": lambda path: write_ply(path, house_points(), form="binary_big_endian"),
    "b.ply": lambda path: write_ply(path, house_points()),
    "a.pcd": lambda path: write_pcd(path, house_points(), data="binary_compressed"),
    "a.e57": lambda path: write_e57(
        path,
        [{"fields": cartesian_fields(house_points())}],
    ),
    "a.csv": lambda path: write_text(
        path, ["x,y,z", *[",".join(map(repr, row)) for row in house_points().tolist()]]
    ),
}


@pytest.mark.parametrize("name", WRITERS)
def test_damage_is_refused_or_gives_finite_points(tmp_path, name):
    """60 files with cut ends and flipped bytes, in the header and beyond: only InputError comes out."""
    path = WRITERS[name](tmp_path / name)
    data = path.read_bytes()
    chance = random.Random(name)
    for turn in range(60):
        damaged = bytearray(data)
        if turn % 3 == 0:
            del damaged[chance.randrange(len(damaged)) :]
        else:
            reach = 400 if turn % 3 == 1 else len(damaged)
            for _ in range(3):
                damaged[chance.randrange(reach)] = chance.choice([0, 255, chance.randrange(256)])
        path.write_bytes(damaged)
        try:
            cloud = read_cloud(path, unit="m")
        except InputError as error:
            assert str(error).startswith((f"{name}: ", "unit: "))
            assert "\n" not in str(error)
        else:
            assert np.isfinite(cloud.xyz).all()
            assert len(cloud.xyz) >= 50


def test_what_is_not_a_regular_file_is_refused_without_waiting(tmp_path):
    os.mkfifo(tmp_path / "a.las")
    with pytest.raises(InputError, match=r"^a\.las: not a regular file, need a cloud file"):
        read_cloud(tmp_path / "a.las")
