"""LAS, LAZ and COPC of other programs, read against another reader and against the published layout."""

import struct
from pathlib import Path

import laspy
import numpy as np
import pytest
from cloud_files import RECORD_BYTES, US_FOOT_M, house_points, world, write_las
from hypothesis import given, settings
from hypothesis import strategies as st

from slopewright.cloud import read_cloud
from slopewright.cloud.las import read_las
from slopewright.errors import InputError

DATA = Path(__file__).parents[1] / "data" / "laspy"
FOOT_M = 0.3048
SAMPLES = {  # file -> unit to give, metres in plan, metres in height (the file's records, read with pyproj)
    "autzen_geo_proj.las": (None, FOOT_M, FOOT_M),
    "1_4_w_evlr.laz": (None, US_FOOT_M, US_FOOT_M),
    "simple.copc.laz": (None, 1.0, US_FOOT_M),
    "simple1_1.las": ("ft", FOOT_M, FOOT_M),
    "extra.laz": ("us-ft", US_FOOT_M, US_FOOT_M),
    "simple1_3.las": (None, None, None),  # says nothing usable: read in one test below
    "plane.laz": (None, 1.0, 1.0),
    "both_crs_records.las": (None, US_FOOT_M, US_FOOT_M),
}


@pytest.mark.parametrize("name", [name for name, (_, plan, _) in SAMPLES.items() if plan])
def test_points_and_classes_are_those_of_another_reader(name):
    """Oracle: laspy 2.7.0 for coordinates, classes and flags; units as stated in SAMPLES."""
    unit, plan, height = SAMPLES[name]
    cloud = read_cloud(DATA / name, unit=unit)
    other = laspy.read(DATA / name)
    codes = np.asarray(other.classification)
    kept = ~np.isin(codes, [7, 18]) & ~np.asarray(other.withheld, dtype=bool)

    expected = np.stack([other.x, other.y, other.z], axis=1)[kept] * [plan, plan, height]
    np.testing.assert_allclose(world(cloud), expected, rtol=0, atol=1e-6)
    np.testing.assert_array_equal(cloud.classes, codes[kept] if set(codes[kept]) - {0, 1} else None)
    assert (cloud.xyz.min(axis=0) >= 0).all() and (cloud.xyz.min(axis=0) < 1).all()
    assert (cloud.origin == np.round(cloud.origin)).all()


@pytest.mark.parametrize("name", [name for name, (_, plan, _) in SAMPLES.items() if plan])
def test_returns_and_strips_are_those_of_another_reader(name):
    """Oracle: laspy 2.7.0.  A file in which no pulse has two returns, or no source is told, has none."""
    unit, *_ = SAMPLES[name]
    cloud = read_cloud(DATA / name, unit=unit)
    other = laspy.read(DATA / name)
    kept = ~np.isin(np.asarray(other.classification), [7, 18]) & ~np.asarray(other.withheld, dtype=bool)
    n_returns = np.asarray(other.number_of_returns)[kept]
    strip = np.asarray(other.point_source_id)[kept]

    several = n_returns.max() > 1
    np.testing.assert_array_equal(cloud.n_returns, n_returns if several else None)
    number = np.asarray(other.return_number)[kept]
    np.testing.assert_array_equal(cloud.return_number, number if several else None)
    np.testing.assert_array_equal(cloud.strip, strip if strip.any() else None)
    for values, dtype in ((cloud.n_returns, np.uint8), (cloud.return_number, np.uint8), (cloud.strip, "u2")):
        assert values is None or values.dtype == dtype


@pytest.mark.parametrize("version", [("1.2", 1), ("1.4", 3), ("1.4", 6), ("1.4", 10)])
@pytest.mark.parametrize("suffix", [".las", ".laz"])
def test_returns_and_strips_that_another_writer_wrote_come_back(tmp_path, version, suffix):
    """Oracle: what was given to laspy's writer; up to 7 returns in formats 0 to 5, 15 in later ones."""
    if (version[1], suffix) == (10, ".laz"):
        pytest.skip("no LAZ encoder for wave packets")
    rng = np.random.default_rng(5)
    header = laspy.LasHeader(version=version[0], point_format=version[1])
    header.scales = [0.001] * 3
    las = laspy.LasData(header)
    xyz = house_points(400)
    las.x, las.y, las.z = xyz.T
    n_returns = rng.integers(1, 8 if version[1] < 6 else 16, 400)
    number = rng.integers(1, n_returns + 1)
    strip = rng.integers(0, 65536, 400)
    las.number_of_returns, las.return_number, las.point_source_id = n_returns, number, strip
    path = tmp_path / f"a{suffix}"
    las.write(str(path))

    cloud = read_cloud(path, unit="m")
    np.testing.assert_array_equal(cloud.n_returns, n_returns)
    np.testing.assert_array_equal(cloud.return_number, number)
    np.testing.assert_array_equal(cloud.strip, strip)


@pytest.mark.parametrize("name", ["autzen_geo_proj.las", "simple1_1.las", "simple1_3.las"])
def test_coordinates_follow_from_the_published_layout(name):
    """Oracle: ASPRS LAS 1.4 R15, coordinate = integer x scale + offset, taken from the bytes here."""
    data = (DATA / name).read_bytes()
    (points_at,) = struct.unpack_from("<I", data, 96)
    record, n = struct.unpack_from("<HI", data, 105)
    scales, offsets = (
        np.array(struct.unpack_from("<3d", data, 131)),
        np.array(struct.unpack_from("<3d", data, 155)),
    )
    steps = np.array([struct.unpack_from("<3i", data, points_at + record * i) for i in range(n)])

    np.testing.assert_array_equal(read_las(DATA / name).xyz, steps * scales + offsets)


def test_crs_of_samples_is_named_by_its_code():
    """Oracle: EPSG codes in the files' records."""
    assert read_cloud(DATA / "autzen_geo_proj.las").crs == "EPSG:2994"
    assert read_cloud(DATA / "both_crs_records.las").crs == "EPSG:6880"
    assert read_cloud(DATA / "plane.laz").crs is None
    assert read_cloud(DATA / "1_4_w_evlr.laz").crs == "EPSG:2903"  # NAD83(HARN), New Mexico Central, ftUS


def test_units_of_samples():
    for name, (unit, plan, _) in SAMPLES.items():
        if plan:
            expected = {1.0: "m", FOOT_M: "ft", US_FOOT_M: "us-ft"}[plan]
            assert read_cloud(DATA / name, unit=unit).unit == expected


@pytest.mark.parametrize(("minor", "point_format"), [(0, 0), (1, 1), (2, 2), (2, 3), (3, 4), (3, 5)])
def test_versions_and_formats_up_to_1_3(tmp_path, minor, point_format):
    xyz = house_points()
    path = write_las(tmp_path / "a.las", xyz, minor=minor, point_format=point_format)
    np.testing.assert_allclose(world(read_cloud(path, unit="m")), xyz, atol=1e-9)


@pytest.mark.parametrize("point_format", range(11))
def test_all_formats_of_1_4_with_extra_bytes(tmp_path, point_format):
    xyz = house_points()
    codes = np.arange(len(xyz)) % 5 + 2
    path = write_las(
        tmp_path / "a.las", xyz, minor=4, point_format=point_format, classes=codes, extra_bytes=5
    )
    cloud = read_cloud(path, unit="m")
    np.testing.assert_allclose(world(cloud), xyz, atol=1e-9)
    np.testing.assert_array_equal(cloud.classes, codes)


@pytest.mark.parametrize("point_format", [1, 6])
def test_noise_and_withheld_points_are_left_out_and_counted(tmp_path, point_format):
    """Classes 7 and 18 are noise (ASPRS LAS 1.4 R15, standard point classes)."""
    xyz = house_points(300)
    codes = np.full(300, 2)
    codes[10:13], codes[20:25] = 7, 18
    withheld = np.zeros(300)
    withheld[[12, 40, 41]] = 1
    path = write_las(
        tmp_path / "a.las", xyz, minor=4, point_format=point_format, classes=codes, flags=withheld
    )
    cloud = read_cloud(path, unit="m")

    keep = (codes == 2) & (withheld == 0)
    np.testing.assert_allclose(world(cloud), xyz[keep], atol=1e-9)
    said = {notice.code: notice.text for notice in cloud.notices}
    assert said["noise_dropped"].startswith("7 points")
    assert said["withheld_dropped"].startswith("3 points")


def test_only_the_classes_asked_for_are_kept(tmp_path):
    xyz = house_points(300)
    codes = np.arange(300) % 3 * 4 + 2  # 2, 6, 10
    path = write_las(tmp_path / "a.las", xyz, classes=codes)
    cloud = read_cloud(path, unit="m", keep=(6,))
    np.testing.assert_allclose(world(cloud), xyz[codes == 6], atol=1e-9)


@pytest.mark.parametrize("codes", [0, 1])
def test_a_file_that_was_never_classified_has_no_classes(tmp_path, codes):
    path = write_las(tmp_path / "a.las", house_points(), classes=codes)
    assert read_cloud(path, unit="m").classes is None


def test_strays_take_their_returns_and_strip_with_them(tmp_path):
    """Rows of the file that are left are those of the other fields."""
    xyz = house_points(400)
    xyz[0] += [9_000, 0, 0]
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.scales = [0.001] * 3
    las = laspy.LasData(header)
    las.x, las.y, las.z = xyz.T
    las.number_of_returns = np.arange(400) % 3 + 1
    las.return_number, las.point_source_id = np.ones(400, dtype=np.uint8), np.arange(400)
    path = tmp_path / "a.las"
    las.write(str(path))
    cloud = read_cloud(path, unit="m")
    np.testing.assert_array_equal(cloud.strip, np.arange(1, 400))
    np.testing.assert_array_equal(cloud.n_returns, np.arange(1, 400) % 3 + 1)


def test_duplicates_and_order_are_kept(tmp_path):
    xyz = np.repeat(house_points(100), 3, axis=0)
    cloud = read_cloud(write_las(tmp_path / "a.las", xyz), unit="m")
    np.testing.assert_allclose(world(cloud), xyz, atol=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    shift=st.tuples(*[st.integers(-9_000_000, 9_000_000)] * 2, st.integers(-400, 8000)),
    compressed=st.booleans(),
    version=st.sampled_from([("1.2", 3), ("1.4", 6), ("1.4", 7)]),
)
def test_what_another_writer_wrote_comes_back(tmp_path_factory, seed, shift, compressed, version):
    """Oracle: the points given to laspy's writer; its LAZ encoder is that of laz-rs."""
    xyz = house_points(120, seed=seed, shift=shift)
    path = tmp_path_factory.mktemp("las") / ("a.laz" if compressed else "a.las")
    header = laspy.LasHeader(version=version[0], point_format=version[1])
    header.scales, header.offsets = [0.001] * 3, list(map(float, shift))
    header.add_extra_dim(laspy.ExtraBytesParams(name="height_over_ground", type="f4"))
    las = laspy.LasData(header)
    las.x, las.y, las.z = xyz.T
    las.write(str(path))
    np.testing.assert_allclose(world(read_cloud(path, unit="m")), xyz, atol=2e-9)


@pytest.mark.parametrize("name", ["1_4_w_evlr.laz", "simple.copc.laz", "extra.laz", "simple1_1.las"])
@pytest.mark.parametrize("share", [0.0005, 0.03, 0.3, 0.7, 0.99])
def test_a_truncated_file_is_refused_in_one_line(tmp_path, name, share):
    data = (DATA / name).read_bytes()
    path = tmp_path / name
    path.write_bytes(data[: int(share * len(data))])
    with pytest.raises(InputError, match=rf"^{name}: .*need [^\n]*$"):
        read_cloud(path, unit="ft")


def test_a_truncated_las_says_how_many_points_it_holds(tmp_path):
    path = write_las(tmp_path / "a.las", house_points(400))
    path.write_bytes(path.read_bytes()[: -100 * RECORD_BYTES[1]])
    with pytest.raises(
        InputError, match=r"^a\.las: truncated, 400 points promised, 300 held; need the whole file$"
    ):
        read_cloud(path, unit="m")


def test_a_count_beyond_the_file_is_refused_before_memory_is_taken(tmp_path):
    path = write_las(tmp_path / "a.las", house_points(), minor=4, point_format=6, n_points=2**61)
    with pytest.raises(
        InputError, match=r"^a\.las: truncated, \d+ points promised, 400 held; need the whole file$"
    ):
        read_cloud(path, unit="m")


@pytest.mark.parametrize("size", [0xFFFFFFF0, 1], ids=["4 GB", "less than there is"])
def test_a_layer_size_that_does_not_fill_its_chunk_is_refused_before_memory_is_taken(tmp_path, size):
    """LAZ 1.4: point count and nine layer sizes follow the first point of a chunk, and the layers fill it.

    Found by fuzzing: after too short a layer the decoder took what followed for the sizes of another chunk.
    """
    path = tmp_path / "a.laz"
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.scales = [0.001] * 3
    las = laspy.LasData(header)
    las.x, las.y, las.z = house_points().T
    las.write(str(path))
    data = bytearray(path.read_bytes())
    (points_at,) = struct.unpack_from("<I", data, 96)
    struct.pack_into("<I", data, points_at + 8 + RECORD_BYTES[6] + 4 + 4, size)
    path.write_bytes(data)
    with pytest.raises(InputError, match=r"^a.laz: damaged, layers longer or shorter than their chunk"):
        read_cloud(path, unit="m")


def test_flags_beside_the_class_do_not_change_it(tmp_path):
    """ASPRS LAS 1.4 R15: in formats 0 to 5 bits 5 and 6 of the class byte mean synthetic and key point."""
    path = write_las(tmp_path / "a.las", house_points(), classes=6 | 0x20 | 0x40)
    assert set(read_cloud(path, unit="m").classes) == {6}


def test_a_count_in_the_old_field_of_1_4_is_taken(tmp_path):
    path = write_las(tmp_path / "a.las", house_points(), minor=4, point_format=1)
    data = bytearray(path.read_bytes())
    struct.pack_into("<Q", data, 247, 0)
    path.write_bytes(data)
    assert len(read_cloud(path, unit="m").xyz) == 400


def test_a_laz_count_beyond_its_chunks_is_refused(tmp_path):
    """LAZ 1.4: each chunk states its number of points; more would be decoded from noise."""
    path = tmp_path / "a.laz"
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.scales = [0.001] * 3
    las = laspy.LasData(header)
    las.x, las.y, las.z = house_points().T
    las.write(str(path))
    data = bytearray(path.read_bytes())
    struct.pack_into("<Q", data, 247, 401)
    path.write_bytes(data)
    with pytest.raises(InputError, match=r"^a\.laz: truncated, 401 points promised, 400 held"):
        read_cloud(path, unit="m")
