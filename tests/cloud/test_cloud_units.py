"""Which unit a cloud is in: from its CRS, from its keys, from the user; and when it is refused.

EPSG codes and their units are those of the EPSG registry through pyproj, an independent implementation.
"""

import numpy as np
import pyproj
import pytest
from cloud_files import US_FOOT_M, house_points, world, write_las, write_ply
from hypothesis import given, settings
from hypothesis import strategies as st

from slopewright.cloud import read_cloud
from slopewright.errors import InputError

FOOT_M = 0.3048  # international foot, exact (NIST SP 811)
MODEL, GEODETIC, PROJECTED, LINEAR, LINEAR_SIZE, VERTICAL, VERTICAL_UNITS = (
    1024,
    2048,
    3072,
    3076,
    3077,
    4096,
    4099,
)
NORTH_OF_COLUMBUS = (1_820_000.0, 720_000.0, 800.0)  # Ohio South, ft of EPSG:3735


def las_with(tmp_path, crs, shift=NORTH_OF_COLUMBUS, *, version="WKT1_GDAL", **options):
    """A house in the units of a CRS, whose WKT the file carries."""
    wkt = pyproj.CRS(crs).to_wkt(version)
    points = house_points() * [3.28, 3.28, 3.28] + shift
    options = {"minor": 4, "point_format": 6, "encoding": 16, "offset": shift} | options
    return write_las(tmp_path / "a.las", points, wkt=wkt, **options)


@pytest.mark.parametrize(
    ("crs", "unit", "version"),
    [
        *[
            ("EPSG:3735", "us-ft", version) for version in ("WKT1_GDAL", "WKT1_ESRI", "WKT2_2019")
        ],  # Ohio South
        *[("EPSG:2994", "ft", version) for version in ("WKT1_GDAL", "WKT1_ESRI", "WKT2_2019")],  # Oregon
        *[("EPSG:25832", "m", version) for version in ("WKT1_GDAL", "WKT1_ESRI", "WKT2_2019")],
        *[("EPSG:3735+6360", "us-ft", version) for version in ("WKT1_GDAL", "WKT2_2019")],  # NAVD88 in ftUS
        *[("EPSG:26917+5703", "m", version) for version in ("WKT1_GDAL", "WKT2_2019")],
    ],
)
def test_horizontal_unit_is_that_of_the_crs(tmp_path, crs, unit, version):
    shift = (600_000.0, 1_000_000.0, 300.0)
    assert read_cloud(las_with(tmp_path, crs, shift, version=version)).unit == unit


@pytest.mark.parametrize(
    ("crs", "plan", "height"),
    [
        ("EPSG:3735+5703", US_FOOT_M, 1.0),  # US feet, NAVD88 height in metres
        ("EPSG:26917+6360", 1.0, US_FOOT_M),  # metres, NAVD88 height in US feet
        ("EPSG:2994+8228", FOOT_M, FOOT_M),  # feet, NAVD88 height in feet
    ],
)
def test_height_may_have_a_unit_of_its_own(tmp_path, crs, plan, height):
    shift = (600_000.0, 1_000_000.0, 300.0)
    cloud = read_cloud(las_with(tmp_path, crs, shift))
    expected = (house_points() * 3.28 + shift).round(3) * [plan, plan, height]
    np.testing.assert_allclose(world(cloud), expected, atol=1e-3)
    assert not [n for n in cloud.notices if n.code == "vertical_unit_assumed"]


def test_a_crs_in_feet_without_heights_says_that_the_unit_of_height_is_assumed(tmp_path):
    codes = [notice.code for notice in read_cloud(las_with(tmp_path, "EPSG:3735")).notices]
    assert "vertical_unit_assumed" in codes


def test_a_crs_with_a_datum_shift_bound_to_it_keeps_its_unit(tmp_path):
    shift = (1_000_000.0, 500_000.0, 0.0)
    crs = "+proj=lcc +lat_1=43 +lat_2=45.5 +lat_0=41.75 +lon_0=-120.5 +x_0=400000 +ellps=GRS80 +units=ft"
    crs += " +towgs84=0,0,0"
    assert pyproj.CRS(crs).is_bound
    assert read_cloud(las_with(tmp_path, crs, shift)).unit == "ft"


def test_survey_and_international_feet_part_by_8_8_feet_at_4_400_000():
    """Oracle: NIST SP 811, 1200/3937 against 0.3048: 2 parts in a million, 8.8 ft at 4,400,000 ft."""
    assert pytest.approx(8.8, abs=1e-4) == 4_400_000 * (US_FOOT_M / FOOT_M - 1)


@pytest.mark.parametrize(("unit", "metres"), [("ft", 4_400_000 * FOOT_M), ("us-ft", 4_400_000 * 1200 / 3937)])
def test_large_coordinates_take_the_right_foot(tmp_path, unit, metres):
    """Oracle: the definitions; the two results differ by 2.68 m."""
    path = write_ply(tmp_path / "a.ply", house_points() * 3 + [4_400_000, 0, 0], form="binary_little_endian")
    least = world(read_cloud(path, unit=unit))[:, 0].min()
    assert least == pytest.approx(metres + house_points()[:, 0].min() * 3 * 0.3048, abs=1e-4)


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    shift=st.tuples(*[st.floats(-5e6, 5e6)] * 3),
    unit=st.sampled_from(["ft", "us-ft"]),
)
def test_a_cloud_is_the_same_in_any_unit(tmp_path_factory, seed, shift, unit):
    """Unit round trip, oracle: exact definitions of the units."""
    metres = {"ft": FOOT_M, "us-ft": US_FOOT_M}[unit]
    folder = tmp_path_factory.mktemp("unit")
    points = house_points(100, seed=seed, shift=shift)
    in_metres = read_cloud(write_ply(folder / "m.ply", points, form="binary_big_endian"), unit="m")
    other = read_cloud(write_ply(folder / "f.ply", points / metres, form="binary_big_endian"), unit=unit)
    np.testing.assert_allclose(world(other), world(in_metres), atol=2e-9)


# GeoTIFF keys (OGC 19-008r4): (key, 0, 1, value) for short values.


def las_with_keys(tmp_path, *keys, doubles=(), scale=1.0, **options):
    entries = [key if len(key) == 4 else (key[0], 0, 1, key[1]) for key in keys]
    points = house_points() * scale + [600_000, 1_000_000, 300]
    return write_las(
        tmp_path / "a.las", points, keys=entries, doubles=doubles, offset=(6e5, 1e6, 300), **options
    )


@pytest.mark.parametrize(("code", "unit"), [(9001, "m"), (9002, "ft"), (9003, "us-ft")])
def test_unit_key_of_a_user_defined_projection(tmp_path, code, unit):
    """EPSG units 9001, 9002, 9003; the geodetic base system does not make the file one in degrees."""
    path = las_with_keys(tmp_path, (MODEL, 1), (GEODETIC, 4269), (PROJECTED, 32767), (LINEAR, code), scale=3)
    cloud = read_cloud(path)
    assert (cloud.unit, cloud.crs) == (unit, None)


def test_unit_key_given_by_its_size(tmp_path):
    keys = ((MODEL, 1), (PROJECTED, 32767), (LINEAR, 32767), (LINEAR_SIZE, 34736, 1, 1))
    assert read_cloud(las_with_keys(tmp_path, *keys, doubles=(7.5, 0.3048006096), scale=3)).unit == "us-ft"


def test_projected_code_gives_unit_and_crs(tmp_path):
    cloud = read_cloud(las_with_keys(tmp_path, (MODEL, 1), (PROJECTED, 3735), scale=3))
    assert (cloud.unit, cloud.crs) == ("us-ft", "EPSG:3735")


@pytest.mark.parametrize("key", [(VERTICAL, 5703), (VERTICAL_UNITS, 9001)])
def test_vertical_keys_give_metres_over_feet(tmp_path, key):
    cloud = read_cloud(las_with_keys(tmp_path, (MODEL, 1), (PROJECTED, 3735), key, scale=3))
    assert cloud.origin[2] == 300
    assert cloud.origin[0] == np.floor(600_000 * US_FOOT_M + house_points()[:, 0].min() * 3 * US_FOOT_M)


def test_a_code_and_a_unit_key_that_disagree_are_refused_until_the_user_decides(tmp_path):
    path = las_with_keys(tmp_path, (MODEL, 1), (PROJECTED, 26917), (LINEAR, 9003), scale=3)
    message = r"^a\.las: horizontal unit is m \(EPSG:26917\) but us-ft \(key ProjLinearUnits\), need --unit "
    with pytest.raises(InputError, match=message):
        read_cloud(path)
    assert read_cloud(path, unit="us-ft").unit == "us-ft"
    assert read_cloud(path, unit="m").unit == "m"
    with pytest.raises(InputError, match=message):
        read_cloud(path, unit="ft")


def test_the_encoding_bit_makes_wkt_outrank_the_keys(tmp_path):
    """ASPRS LAS 1.4 R15, global encoding bit 4."""
    options = {"wkt": pyproj.CRS("EPSG:3735").to_wkt("WKT1_GDAL"), "minor": 4, "point_format": 6}
    keys = (MODEL, 1), (PROJECTED, 26917)
    assert read_cloud(las_with_keys(tmp_path, *keys, scale=3, encoding=16, **options)).unit == "us-ft"
    with pytest.raises(InputError, match=r"us-ft \(WKT\) but m \(EPSG:26917\)"):
        read_cloud(las_with_keys(tmp_path, *keys, scale=3, encoding=0, **options))


def test_wkt_in_an_extended_record_is_found(tmp_path):
    wkt = pyproj.CRS("EPSG:25832").to_wkt("WKT1_GDAL")
    path = write_las(tmp_path / "a.las", house_points(), minor=4, point_format=6, evlr_wkt=wkt, encoding=16)
    assert read_cloud(path).crs == "EPSG:25832"


# What is refused.


@pytest.mark.parametrize(
    ("crs", "message"),
    [
        ("EPSG:4326", r"coordinates in degrees \(EPSG:4326\), need a projected grid"),
        ("EPSG:4979", r"coordinates in degrees \(EPSG:4979\), need a projected grid"),
        ("EPSG:4326+5773", r"coordinates in degrees \(.*\), need a projected grid"),
        ("EPSG:3857", r"EPSG:3857 is a Mercator map, which stretches lengths, need a projected grid"),
        ("EPSG:3395", r"EPSG:3395 is a Mercator map, which stretches lengths, need a projected grid"),
        ("EPSG:4978", r"geocentric coordinates \(EPSG:4978\), z is not up, need a projected grid"),
        ("EPSG:27700+5715", r".* counts depth downwards, need heights"),  # mean sea level depth
        ("EPSG:2157+5703", None),  # Irish grid: fine
        ("EPSG:24376", None),  # Indian grid in metres: fine
        ("EPSG:24370", r"coordinate system in unit Indian yard.*, need m, ft or us-ft"),
    ],
)
def test_systems_that_cannot_be_measured_in_are_refused(tmp_path, crs, message):
    path = las_with(tmp_path, crs, (600_000.0, 700_000.0, 10.0), version="WKT2_2019")
    if message is None:
        assert read_cloud(path).unit == "m"
        return
    with pytest.raises(InputError, match=r"^a\.las: " + message):
        read_cloud(path)


@pytest.mark.parametrize("keys", [((MODEL, 2), (GEODETIC, 4326)), ((MODEL, 2),), ((GEODETIC, 4269),)])
def test_keys_in_degrees_are_refused(tmp_path, keys):
    with pytest.raises(InputError, match=r"^a\.las: coordinates in degrees .*need a projected grid"):
        read_cloud(las_with_keys(tmp_path, *keys), unit="m")


def test_geocentric_keys_are_refused(tmp_path):
    with pytest.raises(InputError, match=r"^a\.las: geocentric coordinates .*need a projected grid"):
        read_cloud(las_with_keys(tmp_path, (MODEL, 3)), unit="m")


def test_keys_in_another_length_are_refused(tmp_path):
    """EPSG 9093 is the statute mile."""
    with pytest.raises(
        InputError, match=r"^a\.las: unit of the GeoTIFF keys is EPSG:9093, need m, ft or us-ft"
    ):
        read_cloud(las_with_keys(tmp_path, (MODEL, 1), (PROJECTED, 32767), (LINEAR, 9093)), unit="m")


@pytest.mark.parametrize(
    ("given_unit", "crs", "said"),
    [("m", "EPSG:3735", "us-ft"), ("ft", "EPSG:3735", "us-ft"), ("ft", "EPSG:25832", "m")],
)
def test_a_unit_that_contradicts_the_file_is_refused_with_both_named(tmp_path, given_unit, crs, said):
    path = las_with(tmp_path, crs, (600_000.0, 700_000.0, 10.0))
    message = (
        rf"^a\.las: unit {given_unit} was given but the file says {said} \(WKT\), need --unit {said} or none$"
    )
    with pytest.raises(InputError, match=message):
        read_cloud(path, unit=given_unit)


def test_a_unit_that_agrees_with_the_file_is_accepted(tmp_path):
    assert read_cloud(las_with(tmp_path, "EPSG:3735"), unit="us-ft").unit == "us-ft"


def test_no_unit_anywhere_is_refused(tmp_path):
    path = write_ply(tmp_path / "cloud.ply", house_points())
    message = r"^cloud\.ply: no unit in the file, need --unit m, ft or us-ft \(or unit in job\.toml\)$"
    with pytest.raises(InputError, match=message):
        read_cloud(path)


@pytest.mark.parametrize("unit", ["feet", "M", "", "mm", "usft"])
def test_an_unknown_unit_is_refused(tmp_path, unit):
    path = write_ply(tmp_path / "cloud.ply", house_points())
    with pytest.raises(InputError, match=rf"^unit: '{unit}', need m, ft or us-ft$"):
        read_cloud(path, unit=unit)


def test_wkt_that_is_none_is_refused(tmp_path):
    path = write_las(tmp_path / "a.las", house_points(), wkt="PROJCS[broken")
    with pytest.raises(InputError, match=r"^a\.las: WKT: coordinate system cannot be read, need "):
        read_cloud(path, unit="m")


def test_grid_scale_is_told():
    """Oracle: UTM has 0.9996 on its central meridian by definition, here 9 degrees east at x = 500 km."""
    from slopewright.cloud.crs import check_stretch

    (notice,) = check_stretch("a.las", "EPSG:25832", 500_000.0, 5_700_000.0)
    assert notice.code == "grid_scale"
    assert "0.99960" in notice.text


def test_a_grid_is_not_judged_where_the_place_is_unknown():
    """A cloud shifted to its own origin keeps the name of its grid: (0, 0) lies outside UTM 32's area."""
    from slopewright.cloud.crs import check_stretch

    assert check_stretch("a.las", "EPSG:25832", 0.0, 0.0) == ()


def test_a_projection_that_stretches_is_refused_whatever_its_name():
    """Oracle: an equal-area azimuthal map draws lengths across the radius 1 / cos(c / 2) too long.

    (J. P. Snyder, Map Projections: A Working Manual, USGS PP 1395, eq. 24-1 and following, on a sphere.)
    EPSG:3035 is one about 52 N 10 E; 66 N 30 E is c = 17.3 degrees away: 1.012.
    """
    from slopewright.cloud.crs import check_stretch

    x, y = pyproj.Transformer.from_crs("EPSG:4258", "EPSG:3035", always_xy=True).transform(30, 66)
    with pytest.raises(
        InputError, match=r"EPSG:3035 draws lengths 1\.01[12]\d* times their size here, need a projected grid"
    ):
        check_stretch("a.las", "EPSG:3035", x, y)
