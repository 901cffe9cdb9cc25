"""E57 files written with libE57Format; poses and spherical coordinates by their definitions in ASTM E2807."""

import numpy as np
import pyproj
import pytest
from cloud_files import cartesian_fields, house_points, world, write_e57
from hypothesis import given, settings
from hypothesis import strategies as st

from slopewright.cloud import read_cloud
from slopewright.errors import InputError


def cartesian(xyz, **others):
    return {"fields": cartesian_fields(xyz) | others}


def spherical(xyz):
    """Range, azimuth and elevation of points, by the inverse of the standard's formula."""
    x, y, z = xyz.T
    return {
        "fields": {
            "sphericalRange": np.sqrt(x * x + y * y + z * z),
            "sphericalAzimuth": np.arctan2(y, x),
            "sphericalElevation": np.arctan2(z, np.hypot(x, y)),
        }
    }


def turned(xyz, quaternion):
    """q p q* written out with quaternion products, not with a matrix."""
    w, v = quaternion[0], np.asarray(quaternion[1:])
    return xyz + 2 * w * np.cross(v, xyz) + 2 * np.cross(v, np.cross(v, xyz))


def test_a_cloud_without_pose_is_in_metres_and_needs_no_unit(tmp_path):
    xyz = house_points(shift=(1000.0, -2000.0, 50.0))
    cloud = read_cloud(write_e57(tmp_path / "a.e57", [cartesian(xyz)]))
    np.testing.assert_allclose(world(cloud), xyz, atol=1e-9)
    assert (cloud.unit, cloud.crs, cloud.classes) == ("m", None, None)


def test_spherical_coordinates(tmp_path):
    xyz = house_points(shift=(-5.0, 3.0, -1.0))
    cloud = read_cloud(write_e57(tmp_path / "a.e57", [spherical(xyz)]))
    np.testing.assert_allclose(world(cloud), xyz, atol=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    parts=st.tuples(*[st.floats(-1, 1)] * 4).filter(lambda q: np.linalg.norm(q) > 0.1),
    shift=st.tuples(*[st.floats(-1e6, 1e6)] * 3),
    as_spherical=st.booleans(),
)
def test_every_scan_stands_where_its_pose_puts_it(tmp_path_factory, parts, shift, as_spherical):
    """Rotation first, then translation; the parts of a pose are taken by name (written out of order here)."""
    quaternion = np.array(parts) / np.linalg.norm(parts)
    one, two = house_points(60, seed=1), house_points(70, seed=2)
    scans = [
        (spherical(one) if as_spherical else cartesian(one)) | {"rotation": quaternion, "translation": shift},
        cartesian(two) | {"translation": shift},
    ]
    cloud = read_cloud(write_e57(tmp_path_factory.mktemp("e57") / "a.e57", scans))
    expected = np.concatenate([turned(one, quaternion), two]) + shift
    np.testing.assert_allclose(world(cloud), expected, atol=1e-8)


def test_points_flagged_as_invalid_are_left_out(tmp_path):
    """ASTM E2807: invalid state 1 is a direction without a range, 2 is nothing."""
    xyz = house_points(90)
    state = np.arange(90) % 3
    xyz[state > 0] = 1e9
    cloud = read_cloud(
        write_e57(
            tmp_path / "a.e57", [cartesian(np.repeat(xyz, 2, 0), cartesianInvalidState=np.repeat(state, 2))]
        )
    )
    np.testing.assert_allclose(world(cloud), np.repeat(xyz[state == 0], 2, axis=0), atol=1e-9)
    assert [n.text for n in cloud.notices] == ["120 points flagged as invalid left out"]


def test_crs_of_the_metadata_is_kept(tmp_path):
    wkt = pyproj.CRS("EPSG:25832").to_wkt()
    shift = (500_000.0, 5_700_000.0, 0.0)
    path = write_e57(tmp_path / "a.e57", [cartesian(house_points()) | {"translation": shift}], metadata=wkt)
    assert read_cloud(path).crs == "EPSG:25832"


@pytest.mark.parametrize(
    ("crs", "message"),
    [
        ("EPSG:4326", "coordinates in degrees"),
        ("EPSG:3735", r"horizontal unit is m \(E57 standard\) but us-ft \(coordinateMetadata\)"),
    ],
)
def test_crs_of_the_metadata_that_is_not_in_metres_is_refused(tmp_path, crs, message):
    wkt = pyproj.CRS(crs).to_wkt()
    with pytest.raises(InputError, match=rf"^a\.e57: {message}"):
        read_cloud(write_e57(tmp_path / "a.e57", [cartesian(house_points())], metadata=wkt))


def test_a_unit_against_the_standard_is_refused(tmp_path):
    path = write_e57(tmp_path / "a.e57", [cartesian(house_points())])
    message = r"^a\.e57: unit ft was given but the file says m \(E57 standard\), need --unit m or none$"
    with pytest.raises(InputError, match=message):
        read_cloud(path, unit="ft")
    assert read_cloud(path, unit="m").unit == "m"


def test_a_pose_that_is_no_rotation_is_refused(tmp_path):
    path = write_e57(tmp_path / "a.e57", [cartesian(house_points()) | {"rotation": (1, 1, 0, 0)}])
    with pytest.raises(InputError, match=r"^a\.e57: scan 1: pose rotation is no unit quaternion, need one$"):
        read_cloud(path)


def test_a_scan_without_coordinates_is_refused(tmp_path):
    scan = {"fields": {"cartesianX": np.zeros(60), "cartesianY": np.zeros(60)}}
    with pytest.raises(InputError, match=r"^a\.e57: scan 1 has no coordinates, need cartesian or spherical"):
        read_cloud(write_e57(tmp_path / "a.e57", [scan]))


def test_nan_is_refused(tmp_path):
    xyz = house_points()
    xyz[3] = np.nan
    with pytest.raises(
        InputError, match=r"^a\.e57: 1 points with NaN or infinite coordinates \(first: point 4\)"
    ):
        read_cloud(write_e57(tmp_path / "a.e57", [cartesian(xyz)]))


@pytest.mark.parametrize("share", [0.01, 0.3, 0.6, 0.95])
def test_a_truncated_file_is_refused_and_left_alone(tmp_path, share):
    path = write_e57(tmp_path / "a.e57", [cartesian(house_points())])
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])
    with pytest.raises(InputError, match=r"^a\.e57: truncated or damaged \(.+\), need the whole file$"):
        read_cloud(path)
    assert path.exists()
