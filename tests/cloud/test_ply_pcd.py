"""PLY and PCD files written by hand from the published formats."""

from contextlib import suppress

import numpy as np
import pytest
import trimesh
from cloud_files import house_points, lzf_literals, world, write_pcd, write_ply
from hypothesis import given, settings
from hypothesis import strategies as st

from slopewright.cloud import read_cloud
from slopewright.cloud.lzf import LzfError, lzf_decompress
from slopewright.errors import InputError

MAP = (4_400_000.0, 512_345.0, 250.0)
FORMS = ["ascii", "binary_little_endian", "binary_big_endian"]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("extra", [True, False])
@pytest.mark.parametrize("faces", [True, False])
@pytest.mark.parametrize("before", [True, False])
def test_doubles_of_a_ply_come_back_to_the_bit(tmp_path, form, newline, extra, faces, before):
    xyz = house_points(shift=MAP)
    options = {"newline": newline, "extra": extra, "faces": faces, "before": before}
    cloud = read_cloud(write_ply(tmp_path / "a.ply", xyz, form=form, **options), unit="m")
    np.testing.assert_array_equal(world(cloud), xyz)
    assert (cloud.origin == np.floor(xyz.min(axis=0))).all()


@pytest.mark.parametrize("form", FORMS)
def test_floats_of_a_ply(tmp_path, form):
    """Oracle: numpy's rounding to 32 bits."""
    xyz = house_points().astype(np.float32)
    cloud = read_cloud(write_ply(tmp_path / "a.ply", xyz, form=form, kind="float32"), unit="m")
    np.testing.assert_array_equal(world(cloud), xyz.astype(np.float64))


@pytest.mark.parametrize("encoding", ["ascii", "binary_little_endian"])
def test_ply_of_another_writer(tmp_path, encoding):
    """Oracle: trimesh's PLY writer, a mesh with faces and colours."""
    mesh = trimesh.creation.icosphere(subdivisions=2, radius=5.0)
    mesh.visual.vertex_colors = [200, 10, 10, 255]
    data = mesh.export(file_type="ply", encoding="ascii" if encoding == "ascii" else "binary")
    path = tmp_path / "a.ply"
    path.write_bytes(data)
    np.testing.assert_allclose(world(read_cloud(path, unit="m")), mesh.vertices, atol=1e-6)


def test_32_bit_floats_of_map_coordinates_are_refused(tmp_path):
    """Oracle: IEEE 754, a 32-bit float at 4,400,000 steps by 0.5."""
    path = write_ply(tmp_path / "a.ply", house_points(shift=MAP), form="binary_little_endian", kind="float")
    message = r"^a\.ply: coordinates are stored in steps of 0\.5 m, need 0\.1 m or finer \(64-bit floats"
    with pytest.raises(InputError, match=message):
        read_cloud(path, unit="m")


def test_coarse_coordinates_are_told(tmp_path):
    """Oracle: IEEE 754, a 32-bit float at 300,000 steps by 1/32."""
    path = write_ply(
        tmp_path / "a.ply", house_points(shift=(3e5, 0, 0)), form="binary_little_endian", kind="float"
    )
    (notice,) = read_cloud(path, unit="m").notices
    assert (notice.code, notice.text) == ("coarse_coordinates", "coordinates are stored in steps of 0.031 m")


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("share", [0.2, 0.6, 0.95])
def test_a_truncated_ply_is_refused(tmp_path, form, share):
    path = write_ply(tmp_path / "a.ply", house_points(), form=form)
    data = path.read_bytes()
    data = data[: int(share * len(data))]
    path.write_bytes(data.rsplit(b"\n", 1)[0] if form == "ascii" else data)
    message = r"^a\.ply: truncated, 400 points promised, \d+ held; need the whole file$"
    with pytest.raises(InputError, match=message):
        read_cloud(path, unit="m")


@pytest.mark.parametrize("form", FORMS)
def test_a_ply_count_beyond_the_file_is_refused_before_memory_is_taken(tmp_path, form):
    path = write_ply(tmp_path / "a.ply", house_points(), form=form, faces=False)
    path.write_bytes(path.read_bytes().replace(b"vertex 400", b"vertex 4000000000000000000000"))
    message = r"^a\.ply: truncated, 4000000000000000000000 points promised, 400 held"
    with pytest.raises(InputError, match=message):
        read_cloud(path, unit="m")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (b"element vertex", b"element corner", "no element vertex in the header, need points"),
        (b"double z", b"double w", "element vertex has no single property z, need x, y, z"),
        (b"double z", b"double y", "element vertex has no single property y, need x, y, z"),
        (b"format ascii", b"format morse", "line 2: 'format morse 1.0', need a PLY 1.0 header"),
        (b"end_header", b"", "no end_header, need the whole file"),
        (b"double z", b"list uchar int z", "element vertex has no single property z, need x, y, z"),
        (b"property double z", b"property list uchar int k\nproperty double z",
         "lists in or before element vertex"),
        (b"vertex 400", b"vertex -5", "line 4: 'element vertex -5', need a PLY 1.0 header"),
    ],
)  # fmt: skip
def test_ply_headers_that_cannot_be_read(tmp_path, old, new, message):
    path = write_ply(tmp_path / "a.ply", house_points())
    path.write_bytes(path.read_bytes().replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_cloud(path, unit="m")
    assert str(caught.value).startswith(f"a.ply: {message}")


@pytest.mark.parametrize("data", ["ascii", "binary", "binary_compressed"])
@pytest.mark.parametrize("size", [4, 8])
def test_pcd_comes_back_to_the_bit(tmp_path, data, size):
    xyz = house_points(shift=MAP if size == 8 else (0, 0, 0)).astype(f"f{size}")
    cloud = read_cloud(write_pcd(tmp_path / "a.pcd", xyz, data=data, size=size), unit="m")
    np.testing.assert_array_equal(world(cloud), xyz.astype(np.float64))


@pytest.mark.parametrize("data", ["ascii", "binary", "binary_compressed"])
def test_pixels_without_a_return_are_left_out_of_an_organised_pcd(tmp_path, data):
    """PCD: a cloud of more than one row is an image; NaN marks a pixel that saw nothing."""
    xyz = house_points(400)
    xyz[::7] = np.nan
    cloud = read_cloud(write_pcd(tmp_path / "a.pcd", xyz, data=data, width=20, height=20), unit="m")
    np.testing.assert_array_equal(world(cloud), xyz[~np.isnan(xyz[:, 0])])
    assert [n.code for n in cloud.notices] == ["missing_dropped"]
    assert cloud.notices[0].text.startswith("58 pixels")


@pytest.mark.parametrize("data", ["ascii", "binary", "binary_compressed"])
def test_nan_in_a_plain_pcd_is_refused(tmp_path, data):
    xyz = house_points(400)
    xyz[5] = np.nan
    xyz[9, 2] = np.inf
    where = "line 17" if data == "ascii" else "point 6"  # eleven lines of header, then five good points
    message = rf"^a\.pcd: 2 points with NaN or infinite coordinates \(first: {where}\), need them removed$"
    with pytest.raises(InputError, match=message):
        read_cloud(write_pcd(tmp_path / "a.pcd", xyz, data=data), unit="m")


@pytest.mark.parametrize("data", ["ascii", "binary", "binary_compressed"])
def test_a_truncated_pcd_is_refused(tmp_path, data):
    path = write_pcd(tmp_path / "a.pcd", house_points(), data=data)
    content = path.read_bytes()[:-3000]
    path.write_bytes(content.rsplit(b"\n", 1)[0] if data == "ascii" else content)
    with pytest.raises(InputError, match=r"^a\.pcd: truncated, \d+ .*promised.* need the whole file$"):
        read_cloud(path, unit="m")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (b"FIELDS y", b"FIELDS q", "FIELDS has no single y, need x y z"),
        (b"TYPE F", b"TYPE Q", "field y: TYPE Q SIZE 8 COUNT 1, need a PCD 0.7 header"),
        (b"SIZE 8", b"SIZE 3", "field y: TYPE F SIZE 3 COUNT 1, need a PCD 0.7 header"),
        (b"COUNT 1 1", b"COUNT 1", "FIELDS, SIZE, TYPE and COUNT of different lengths"),
        (b"WIDTH 400", b"WIDTH 401", "WIDTH, HEIGHT and POINTS do not agree"),
        (b"WIDTH 400", b"WIDTH four", "WIDTH and HEIGHT is 'four 1', need whole numbers"),
        (b"DATA binary", b"DATA tertiary", "DATA 'tertiary', need ascii, binary or binary_compressed"),
        (b"DATA binary\n", b"", "no DATA line, need the whole file"),
    ],
)  # fmt: skip
def test_pcd_headers_that_cannot_be_read(tmp_path, old, new, message):
    path = write_pcd(tmp_path / "a.pcd", house_points(), data="binary")
    content = path.read_bytes()
    if b"DATA" in old and not new:
        content = content.split(b"DATA")[0]
    path.write_bytes(content.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_cloud(path, unit="m")
    assert str(caught.value).startswith(f"a.pcd: {message}")


# Output of LibLZF (through the LZF filter of h5py 3.16) for the bytes that the test makes again.
LZF_SAMPLE = bytes.fromhex(
    "0100006000033f000080200300c020030400400000202003004020030060200300802003009020036000201fe0bc27e0"
    "1b0020ebe01b03410fe01b03415be01b03417fe01b0341a3e01b0341c7005021bf41cb0070200741cf0088200741d300"
    "98200700a0200300a82003e0bb2701a840"
)


def test_lzf_of_another_compressor_is_expanded():
    """Oracle: LibLZF made LZF_SAMPLE from x, y, z of a 10 x 6 grid of 32-bit floats."""
    t = np.arange(60)
    xyz = np.stack([t % 10 * 0.5, t // 10 * 0.5, 3 + t % 10 * 0.25]).astype("<f4")
    assert lzf_decompress(LZF_SAMPLE, 720) == xyz.tobytes()


def test_lzf_repeat_may_overlap_itself():
    """By the format: one literal 'a', then a repeat of 7 + 2 bytes at distance 1 makes ten."""
    assert lzf_decompress(bytes([0, ord("a"), 7 << 5, 0, 0]), 10) == b"a" * 10


@settings(max_examples=40, deadline=None)
@given(st.binary(min_size=1, max_size=500))
def test_lzf_literals_come_back(plain):
    assert lzf_decompress(lzf_literals(plain), len(plain)) == plain


@settings(max_examples=40, deadline=None)
@given(st.binary(max_size=300), st.integers(0, 5000))
def test_lzf_of_anything_is_refused_or_of_the_announced_size(data, size):
    with suppress(LzfError):
        assert len(lzf_decompress(data, size)) == size
