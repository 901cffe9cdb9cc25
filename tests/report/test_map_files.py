"""roof.geojson and roof.gpkg read back: places by pyproj, areas by the ellipsoid, the standard's tables."""

import json
import math
import sqlite3
import struct

import numpy as np
import pyproj
import pytest
import shapely

from report import hand_roofs
from report.hand_takeoff import takeoff
from report.hostile_texts import TEXTS
from slopewright import mesh, report
from slopewright.report.geojson_file import roof_geojson
from slopewright.report.geopackage_file import roof_geopackage
from slopewright.report.grid import grid_of
from slopewright.units import US_SURVEY_FOOT_M

PLACES = {
    "EPSG:25832": (512000.0, 5403000.0, 300.0),
    "EPSG:2263": (985000 * US_SURVEY_FOOT_M, 195000 * US_SURVEY_FOOT_M, 10.0),  # US survey feet, New York
}


def files_of(name="gable_with_hole", crs="EPSG:25832", **more):
    roof = hand_roofs.ALL[name](crs=crs, origin=PLACES.get(crs, (0, 0, 0)), **more)
    grid = grid_of(roof.frame)
    if grid is None:
        return roof, {}
    places = report.json_bytes(roof_geojson(roof, grid))
    return roof, {"roof.gpkg": roof_geopackage(roof, grid), "roof.geojson": places}


@pytest.mark.parametrize("crs", PLACES)
def test_geojson_places_every_corner_on_earth(crs):
    """Oracle: pyproj's own transform of the file's coordinates; RFC 7946, 3.1.6 and 4 (sense, WGS 84)."""
    roof, files = files_of(crs=crs)
    features = json.loads(files["roof.geojson"])["features"]
    assert len(features) == len(roof.planes) + len(roof.edges)
    unit = pyproj.CRS(crs).axis_info[0].unit_conversion_factor
    to_earth = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    for feature, plane in zip(features, roof.planes, strict=False):
        rings = feature["geometry"]["coordinates"]
        for ring, loop in zip(rings, plane.loops, strict=True):
            world = (roof.ring(loop)[:, :2] + PLACES[crs][:2]) / unit
            expected = np.column_stack(to_earth.transform(*world.T))
            np.testing.assert_allclose(ring[:-1], expected, rtol=0, atol=1e-9)
            assert ring[0] == ring[-1]
        senses = [shapely.LinearRing(ring).is_ccw for ring in rings]
        assert senses == [True] + [False] * (len(rings) - 1)
        assert feature["properties"]["area_m2"] == pytest.approx(plane.area.value, abs=1e-6)


def test_geojson_covers_the_plan_area_on_the_ellipsoid():
    """Oracle: geodesic area by pyproj; UTM's scale is within 0.1 % of 1 here (0.9996 at its meridian)."""
    roof, files = files_of("hip")
    geod = pyproj.Geod(ellps="GRS80")
    for feature in json.loads(files["roof.geojson"])["features"][: len(roof.planes)]:
        area, _ = geod.geometry_area_perimeter(shapely.from_geojson(json.dumps(feature["geometry"])))
        assert abs(area) == pytest.approx(feature["properties"]["plan_area_m2"], rel=2e-3)


def opened(content, tmp_path):
    path = tmp_path / "roof.gpkg"
    path.write_bytes(content)
    return sqlite3.connect(path)


def shape_of(blob):
    """Oracle: OGC 12-128r18, 2.1.3: GP, version 0, flags, srs, envelope of four doubles, WKB."""
    assert blob[:3] == b"GP\x00"
    assert blob[3] == 0b11  # little-endian, envelope [minx, maxx, miny, maxy]
    shape = shapely.from_wkb(blob[40:])
    low_x, high_x, low_y, high_y = struct.unpack_from("<4d", blob, 8)
    assert (low_x, low_y, high_x, high_y) == shape.bounds
    return struct.unpack_from("<i", blob, 4)[0], shape


@pytest.mark.parametrize("crs", PLACES)
def test_geopackage_is_as_the_standard_has_it(crs, tmp_path):
    """Oracle: OGC 12-128r18: file header (table 1), required tables and rows (1.1.2, 1.1.3, 2.1)."""
    roof, files = files_of(crs=crs)
    assert struct.unpack_from(">I", files["roof.gpkg"], 68)[0] == 0x47504B47  # "GPKG"
    file = opened(files["roof.gpkg"], tmp_path)
    assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert file.execute("PRAGMA foreign_key_check").fetchall() == []
    code = int(crs[5:])
    systems = {
        row[0]: row[1:]
        for row in file.execute("SELECT srs_id, organization, definition FROM gpkg_spatial_ref_sys")
    }
    assert set(systems) == {-1, 0, 4326, code}
    assert pyproj.CRS(systems[code][1]).equals(pyproj.CRS(crs), ignore_axis_order=True)
    assert pyproj.CRS(systems[4326][1]).to_epsg() == 4326
    contents = file.execute("SELECT table_name, data_type, srs_id FROM gpkg_contents ORDER BY 1").fetchall()
    assert contents == [("edges", "features", code), ("planes", "features", code)]
    unit = pyproj.CRS(crs).axis_info[0].unit_conversion_factor
    for name, area_m2, blob in file.execute("SELECT name, plan_area_m2, geom FROM planes"):
        srs, shape = shape_of(blob)
        assert srs == code
        plane = next(p for p in roof.planes if p.id == name)
        assert shape.area * unit**2 == pytest.approx(plane.plan_area.value, rel=1e-6)
        assert area_m2 == pytest.approx(plane.plan_area.value, abs=1e-6)
    for name, kind, length_m, blob in file.execute("SELECT name, kind, length_m, geom FROM edges"):
        edge = next(e for e in roof.edges if e.id == name)
        assert (kind, length_m) == (str(edge.kind), pytest.approx(edge.length.value, abs=1e-6))
        rise = roof.vertices[edge.end, 2] - roof.vertices[edge.start, 2]
        assert math.hypot(shape_of(blob)[1].length * unit, rise) == pytest.approx(length_m, rel=1e-6)
    file.close()


@pytest.mark.parametrize("crs", [None, "EPSG:4326", "EPSG:99999999", 'LOCAL_CS["x"]', *TEXTS])
def test_no_map_file_without_a_grid_that_is_known(crs):
    assert grid_of(hand_roofs.gable(crs=crs).frame) is None


def test_a_run_has_the_map_files_where_the_grid_is_known():
    for crs, expected in (("EPSG:25832", {"roof.gpkg", "roof.geojson"}), (None, set())):
        roof = hand_roofs.gable(crs=crs, origin=PLACES["EPSG:25832"])
        files = report.run(roof, takeoff(), mesh.run(roof))
        assert {"roof.gpkg", "roof.geojson"} & set(files) == expected


@pytest.mark.parametrize("text", TEXTS)
def test_any_id_is_text(text, tmp_path):
    roof, files = files_of("gable", name_planes=[text, "B"])
    file = opened(files["roof.gpkg"], tmp_path)
    names = [row[0] for row in file.execute("SELECT name FROM planes")]
    file.close()
    told = [f["properties"]["id"] for f in json.loads(files["roof.geojson"])["features"][:2]]
    assert names == told
    assert "\x00" not in names[0] and "\u202e" not in names[0]
    assert len(roof.planes) == 2


def test_map_files_are_the_same_twice():
    first, second = (files_of("hip")[1] for _ in range(2))
    assert first["roof.gpkg"] == second["roof.gpkg"]
    assert first["roof.geojson"] == second["roof.geojson"]
