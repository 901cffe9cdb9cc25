"""cloud.laz, read back by another program (laspy).

Oracles: ASPRS LAS 1.4 as laspy reads it; the points that went in; point-in-polygon by shapely.
"""

import io

import laspy
import numpy as np
import pytest
import shapely

from slopewright import adjust, edges, planes
from slopewright.cloud import read_cloud
from slopewright.finding import find_roof
from slopewright.intent import Options
from slopewright.report.cloud_file import cloud_laz, plane_number
from slopewright.roof import Frame

SAMPLE = "sample_inputs/house/cloud.laz"


@pytest.mark.parametrize(
    ("name", "number"),
    [("A", 1), ("B", 2), ("Z", 26), ("AA", 27), ("AZ", 52), ("BA", 53), ("a", 0), ("é", 0), ("", 0)],
)
def test_planes_are_numbered_as_columns_of_a_sheet(name, number):
    """Oracle: the numbering of columns in spreadsheets."""
    assert plane_number(name) == number


@pytest.fixture(scope="module")
def measured(request):
    scanned = read_cloud(request.config.rootpath / SAMPLE)
    found = find_roof(scanned, Options())
    segmentation = planes.run(found.points)
    topology = edges.run(found.points, segmentation)
    frame = Frame(origin=scanned.origin, crs=scanned.crs, ground_z_m=found.points.ground_z_m)
    return found.points, segmentation, adjust.run(found.points, segmentation, topology, frame)


@pytest.fixture(scope="module")
def content(measured):
    return cloud_laz(*measured)


@pytest.fixture(scope="module")
def read(content):
    return laspy.read(io.BytesIO(content))


def test_the_points_are_those_that_were_measured(measured, read):
    points, _, roof = measured
    xyz = np.concatenate([points.xyz, points.context]) + roof.frame.origin
    assert str(read.header.version) == "1.4" and read.header.point_format.id == 6
    np.testing.assert_allclose(np.column_stack([read.x, read.y, read.z]), xyz, atol=0.00051)
    np.testing.assert_allclose(read.header.mins, xyz.min(axis=0), atol=0.001)
    np.testing.assert_allclose(read.header.maxs, xyz.max(axis=0), atol=0.001)
    assert read.header.creation_date is None
    assert read.header.parse_crs().to_epsg() == 25832


def test_every_plane_has_its_points_and_they_lie_on_it(measured, read):
    points, segmentation, roof = measured
    plane = np.asarray(read.plane)[: len(points.xyz)]
    assert not np.asarray(read.plane)[len(points.xyz) :].any()
    assert np.array_equal(plane > 0, segmentation.labels >= 0)
    assert np.array_equal(np.asarray(read.classification)[: len(plane)] == 6, plane > 0)
    assert np.array_equal(np.asarray(read.user_data)[: len(plane)], plane)
    for face in roof.planes:
        own = points.xyz[plane == plane_number(face.id)]
        assert len(own) >= face.n_points > 0
        away = np.abs(own @ face.normal - face.offset)
        assert np.median(away) < 0.05
        outline = shapely.Polygon(roof.ring(face.loops[0])[:, :2]).buffer(0.3)
        assert shapely.contains_xy(outline, *own[:, :2].T).mean() > 0.97


def test_returns_and_strips_are_kept(measured, read):
    points, _, _ = measured
    n = len(points.xyz)
    if points.n_returns is not None:
        assert np.array_equal(np.asarray(read.number_of_returns)[:n], points.n_returns)
        assert np.array_equal(np.asarray(read.return_number)[:n], points.return_number)


def test_the_same_roof_gives_the_same_bytes_and_our_own_reader_takes_them(measured, content, tmp_path):
    assert cloud_laz(*measured) == content
    path = tmp_path / "cloud.laz"
    path.write_bytes(content)
    again = read_cloud(path)
    assert again.unit == "m" and len(again.xyz) == len(measured[0].xyz) + len(measured[0].context)
