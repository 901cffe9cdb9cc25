"""Text clouds: separators, headers, decimal commas, and the line number of what is wrong."""

import numpy as np
import pytest
from cloud_files import house_points, world, write_text
from hypothesis import given, settings
from hypothesis import strategies as st

from slopewright.cloud import read_cloud
from slopewright.errors import InputError

GOOD = ["1 2 3", "4 5 6", "9 2 4", "8 8 1"] * 20  # 80 points in space


def rows(xyz, separator, decimal="."):
    return [separator.join(repr(v).replace(".", decimal) for v in row) for row in xyz.tolist()]


@pytest.mark.parametrize("separator", [",", ";", "\t", " ", "  ", ", ", " \t "])
@pytest.mark.parametrize(
    "header", [None, "x y z", "X Y Z", "# x y z", "//X Y Z", "Easting Northing Elevation"]
)
def test_separators_and_headers(tmp_path, separator, header):
    xyz = house_points(shift=(4_400_000.0, 500_000.0, 0.0))
    lines = rows(xyz, separator)
    if header:
        lines = [separator.join(header.replace("# ", "#").split()), *lines]
    cloud = read_cloud(write_text(tmp_path / "a.txt", lines), unit="m")
    np.testing.assert_allclose(world(cloud), xyz, atol=1e-9)


@pytest.mark.parametrize("separator", [";", "\t"])
def test_decimal_commas(tmp_path, separator):
    xyz = house_points()
    cloud = read_cloud(write_text(tmp_path / "a.csv", rows(xyz, separator, ",")), unit="m")
    np.testing.assert_allclose(world(cloud), xyz, atol=1e-12)


@pytest.mark.parametrize(
    ("header", "order"),
    [
        ("Northing,Easting,Elevation", [1, 0, 2]),
        ("height,y,x", [2, 1, 0]),
        ('"N","E","Z"', [1, 0, 2]),
        ("Z;Y;X", [2, 1, 0]),
    ],
)
def test_columns_are_found_by_name(tmp_path, header, order):
    xyz = house_points()
    separator = ";" if ";" in header else ","
    cloud = read_cloud(write_text(tmp_path / "a.csv", [header, *rows(xyz[:, order], separator)]), unit="m")
    np.testing.assert_allclose(world(cloud), xyz, atol=1e-12)


def test_other_columns_comments_and_blank_lines_are_passed_over(tmp_path):
    xyz = house_points(100)
    lines = ["id,x,label,y,z,intensity"]
    lines += [f"P{i},{x!r},roof,{y!r},{z!r},{i}" for i, (x, y, z) in enumerate(xyz.tolist())]
    lines[5:5] = ["", "# a remark", "   "]
    np.testing.assert_allclose(
        world(read_cloud(write_text(tmp_path / "a.csv", lines), unit="m")), xyz, atol=1e-12
    )


def test_rows_of_different_length_are_read_if_they_hold_the_columns(tmp_path):
    cloud = read_cloud(write_text(tmp_path / "a.xyz", [*GOOD, "5 5 5 7 7 7"]), unit="m")
    assert len(cloud.xyz) == 81


def test_byte_order_mark_and_windows_line_ends(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes("\r\n".join(["x,y,z", *rows(house_points(), ",")]).encode("utf-8-sig"))
    np.testing.assert_allclose(world(read_cloud(path, unit="m")), house_points(), atol=1e-12)


def test_pts_with_a_count_before_each_scan(tmp_path):
    xyz = house_points(100)
    lines = rows(xyz, " ")
    lines = ["60", *[f"{line} -700 10 20 30" for line in lines[:60]], "40", *lines[60:]]
    np.testing.assert_allclose(
        world(read_cloud(write_text(tmp_path / "a.pts", lines), unit="m")), xyz, atol=1e-12
    )


def test_a_pts_with_fewer_points_than_promised_is_refused(tmp_path):
    message = r"^a\.pts: truncated, 100 points promised, 80 held; need the whole file$"
    with pytest.raises(InputError, match=message):
        read_cloud(write_text(tmp_path / "a.pts", ["100", *GOOD]), unit="m")


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("x (ft),y (ft),z (ft)", "ft"),
        ("X_m,Y_m,Z_m", "m"),
        ("easting [us-ft],northing [us-ft],z [us-ft]", "us-ft"),
    ],
)
def test_units_in_column_names_count(tmp_path, header, unit):
    lines = [header, *rows(house_points() * 3, ",")]
    assert read_cloud(write_text(tmp_path / "a.csv", lines)).unit == unit


def test_a_unit_against_the_column_names_is_refused(tmp_path):
    lines = ["x (ft),y (ft),z (ft)", *rows(house_points() * 3, ",")]
    message = r"unit m was given but the file says ft \(column names\), need --unit ft or none$"
    with pytest.raises(InputError, match=message):
        read_cloud(write_text(tmp_path / "a.csv", lines), unit="m")


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), shift=st.tuples(*[st.floats(-1e7, 1e7)] * 3))
def test_text_comes_back(tmp_path_factory, seed, shift):
    """Oracle: repr of a float is read back exactly; the rest is the shift to the local origin."""
    xyz = house_points(60, seed=seed, shift=shift)
    path = write_text(tmp_path_factory.mktemp("text") / "a.xyz", rows(xyz, " "))
    np.testing.assert_allclose(world(read_cloud(path, unit="m")), xyz, rtol=0, atol=4e-9)


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([*GOOD, "1 2 nan"], "1 points with NaN or infinite coordinates (first: line 81), need them removed"),
        (["", "# a", *GOOD, "inf 2 3", "1 -inf 3"], "2 points with NaN or infinite coordinates (first"),
        ([*GOOD, "1 2 three"], "line 81: z is 'three', need a number"),
        ([*GOOD, "", "1_0 2 3"], "line 82: x is '1_0', need a number"),
        ([*GOOD, "1 2"], "line 81: 2 columns, need 3"),
        (["x,y,z", "1,2,3", "1,,3"], "line 3: y is '', need a number"),
        (["1.5;2,5;3"], "line 1: both . and , in the numbers, need one decimal mark"),
        (["a,b,c", *GOOD], "line 1: 'a,b,c', need columns x, y, z or easting, northing, elevation"),
        (["x (mm),y (mm),z (mm)", "1,2,3"], "line 1: 'x (mm),y (mm),z (mm)', need columns x, y, z"),
        (["x,y,z,z", "1,2,3,4"], "2 columns named z, need one column for z"),
        (["x (ft),y (m),z (m)", "1,2,3"], "units of columns x and y are ft and m, need the same"),
        (["lat,lon,z", "1,2,3"], "columns are latitude and longitude, need a projected grid"),
        (["1 2", "3 4"], "line 1: 2 columns, need x, y, z"),
        (["hello"], "no row of numbers in the first 1 lines, need x, y, z in each line"),
        (["<html>", "<p>1 2 3</p>"], "line 1: '<html>', need columns x, y, z"),
        (GOOD[:10], "10 points, need at least 50"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_named(tmp_path, lines, message):
    with pytest.raises(InputError) as caught:
        read_cloud(write_text(tmp_path / "a.txt", lines), unit="m")
    assert str(caught.value).startswith(f"a.txt: {message}")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("first", ["²", "9" * 5000, "٣"])
def test_a_first_line_that_is_nearly_a_count_is_refused(tmp_path, first):
    with pytest.raises(InputError, match=r"^a\.txt: line 1: "):
        read_cloud(write_text(tmp_path / "a.txt", [first, *GOOD]), unit="m")
