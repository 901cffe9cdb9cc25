"""Points under boxes, from LAS, LAZ and COPC."""

import struct
from pathlib import Path

import laspy
import numpy as np
import pyproj
import pytest
from cloud_files import house_points, write_las

from slopewright.cloud import guid_of, las_bytes, open_tile, points_under, read_cloud
from slopewright.errors import InputError

COPC = Path(__file__).parents[1] / "data" / "laspy" / "simple.copc.laz"


def coordinates(tile, points):
    stored = np.stack([points[axis] for axis in "xyz"], axis=1)
    return stored * tile.header.scales + tile.header.offsets


def under(xyz, box):
    west, south, east, north = box
    return (xyz[:, 0] >= west) & (xyz[:, 0] <= east) & (xyz[:, 1] >= south) & (xyz[:, 1] <= north)


def some_boxes(xyz, rng, n=12):
    low, high = xyz[:, :2].min(axis=0), xyz[:, :2].max(axis=0)
    corners = np.sort(rng.uniform(low - 1, high + 1, (n, 2, 2)), axis=1)
    return np.concatenate([corners.reshape(n, 4), [[*low, *high], [*(high + 5), *(high + 9)], [*low, *low]]])


def sorted_rows(xyz):
    return xyz[np.lexsort(xyz.T)]


@pytest.mark.parametrize("form", [(2, 1, ".las"), (4, 6, ".las"), (4, 6, ".laz"), (2, 3, ".laz")])
def test_each_box_gets_the_points_that_lie_under_it_in_their_order(tmp_path, form):
    """Oracle: comparison of coordinates, one box after the other; laspy wrote the LAZ."""
    minor, point_format, suffix = form
    xyz = house_points(3000, shift=(500_000.0, 5_400_000.0, 100.0))
    path = tmp_path / f"tile{suffix}"
    if suffix == ".las":
        write_las(
            path, xyz, minor=minor, point_format=point_format, offset=(500_000.0, 5_400_000.0, 0.0), classes=2
        )
    else:
        header = laspy.LasHeader(point_format=point_format, version=f"1.{minor}")
        header.scales, header.offsets = [0.001] * 3, [500_000.0, 5_400_000.0, 0.0]
        las = laspy.LasData(header)
        las.xyz = xyz
        las.classification[:] = 2
        las.write(path)
    tile = open_tile(path)
    boxes = some_boxes(xyz, np.random.default_rng(3))
    for box, points in zip(boxes, points_under(tile, boxes), strict=True):
        np.testing.assert_allclose(coordinates(tile, points), xyz[under(xyz, box)], atol=6e-4)
        assert (points["class"] == 2).all()


def test_a_copc_file_is_read_by_its_nodes():
    """Oracle: laspy reads the same file as a plain LAZ."""
    las = laspy.read(COPC)
    xyz = np.asarray(las.xyz)
    tile = open_tile(COPC)
    boxes = some_boxes(xyz, np.random.default_rng(4))
    for box, points in zip(boxes, points_under(tile, boxes), strict=True):
        found = coordinates(tile, points)
        np.testing.assert_allclose(sorted_rows(found), sorted_rows(xyz[under(xyz, box)]), atol=1e-9)


def test_a_cut_of_two_tiles_holds_what_they_held(tmp_path):
    """Oracle: the points that were written, which lie apart in two files of different step and format;
    laspy reads the cut."""
    xyz = house_points(2000, shift=(500_000.0, 5_400_000.0, 100.0))
    west = xyz[:, 0] < 500_006
    xyz[~west] = xyz[~west].round(2)
    paths = (
        write_las(tmp_path / "a", xyz[west], minor=4, point_format=6, offset=(5e5, 5.4e6, 0), classes=6),
        write_las(tmp_path / "b", xyz[~west], scale=0.01, offset=(499_000.0, 5.4e6, 0), flags=1),
    )
    tiles = [open_tile(path) for path in paths]
    boxes = np.array([[500_002.0, 5_400_001.0, 500_010.0, 5_400_007.0]])
    held = [(tile, points_under(tile, boxes)[0]) for tile in tiles]
    (tmp_path / "cut.las").write_bytes(las_bytes(held, b"0123456789abcdef"))
    cut, inside = laspy.read(tmp_path / "cut.las"), under(xyz, boxes[0])
    wanted = np.concatenate([xyz[inside & west], xyz[inside & ~west]])
    np.testing.assert_allclose(np.asarray(cut.xyz), wanted, atol=0.0051)
    np.testing.assert_allclose(cut.header.maxs, np.asarray(cut.xyz).max(axis=0), atol=1e-9)
    assert guid_of(tmp_path / "cut.las") == b"0123456789abcdef"
    n_west = int((inside & west).sum())
    assert (np.asarray(cut.classification)[:n_west] == 6).all() and not np.asarray(cut.withheld)[
        :n_west
    ].any()
    assert np.asarray(cut.withheld)[n_west:].all()


def test_a_cut_says_where_it_lies_as_its_tile_did(tmp_path):
    """Oracle: the tile itself, read whole: same CRS, unit, points and returns."""
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.001] * 3, [500_000.0, 5_400_000.0, 0.0]
    header.add_crs(pyproj.CRS.from_epsg(25832))
    las = laspy.LasData(header)
    las.xyz = house_points(500, shift=(500_000.0, 5_400_000.0, 100.0))
    las.number_of_returns[:], las.return_number[:] = 3, 2
    las.point_source_id[:] = 77
    las.write(tmp_path / "t.laz")
    tile = open_tile(tmp_path / "t.laz")
    points = points_under(tile, np.array([[*tile.header.extent]]))[0]
    (tmp_path / "c.las").write_bytes(las_bytes([(tile, points)], bytes(16)))
    whole, cut = read_cloud(tmp_path / "t.laz"), read_cloud(tmp_path / "c.las")
    assert (cut.crs, cut.unit) == (whole.crs, whole.unit) == ("EPSG:25832", "m")
    np.testing.assert_array_equal(cut.xyz, whole.xyz)
    for name in ("n_returns", "return_number", "strip"):
        np.testing.assert_array_equal(getattr(cut, name), getattr(whole, name))


@pytest.mark.parametrize(
    ("at", "value", "message"),
    [
        (375 + 54 + 40, struct.pack("<Q", 1 << 40), "a page of its nodes is not in the file"),
        (0, b"X", "not a LAS or LAZ file"),
        (131, struct.pack("<d", float("nan")), "scale or extent"),
    ],
)
def test_a_damaged_tile_is_refused(tmp_path, at, value, message):
    data = bytearray(COPC.read_bytes())
    data[at : at + len(value)] = value
    path = tmp_path / "t.laz"
    path.write_bytes(data)
    with pytest.raises(InputError, match=message):
        points_under(open_tile(path), np.array([[-1e9, -1e9, 1e9, 1e9]]))
