"""Footprints and points from maps."""

import json
import sqlite3

import pytest
import shapely
from batch_maps import HOUSE, TWO, geopackage, geoparquet

from slopewright.batch import read_roofs
from slopewright.errors import InputError


def geojson(tmp_path, *features, **more):
    path = tmp_path / "r.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": list(features), **more}))
    return path


def feature(shape, **properties):
    return {"type": "Feature", "properties": properties, "geometry": json.loads(shapely.to_geojson(shape))}


def test_geojson_is_in_degrees_unless_it_cannot_be_or_says_so(tmp_path):
    """Oracle: RFC 7946, 4 (longitude and latitude); the member "crs" of the format of 2008."""
    assert read_roofs(geojson(tmp_path, feature(HOUSE))).crs == "OGC:CRS84"
    far = shapely.transform(HOUSE, lambda xy: xy + 500_000)
    assert read_roofs(geojson(tmp_path, feature(far))).crs is None
    named = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
    assert read_roofs(geojson(tmp_path, feature(far), crs=named)).crs == "urn:ogc:def:crs:EPSG::25832"


def test_roofs_keep_their_names_and_parts_are_roofs_of_their_own(tmp_path):
    point = shapely.Point(3, 4)
    found = read_roofs(
        geojson(tmp_path, {**feature(HOUSE), "id": 12}, feature(TWO, ID="x"), feature(point))
    ).roofs
    assert [roof.id for roof in found] == ["12", "x.1", "x.2", "3"]
    assert (
        found[0].shape.equals(HOUSE) and found[2].shape.bounds == (20, 20, 30, 28) and found[3].shape == point
    )


@pytest.mark.parametrize("envelope", [0, 1])
def test_geopackage(tmp_path, envelope):
    found = read_roofs(geopackage(tmp_path / "r.gpkg", [HOUSE, TWO.geoms[1]], envelope=envelope))
    assert found.crs == "EPSG:25832" and [roof.id for roof in found.roofs] == ["b0", "b1"]
    assert found.roofs[1].shape.equals(TWO.geoms[1])
    assert read_roofs(geopackage(tmp_path / "n.gpkg", [HOUSE], srs=-1, organization="NONE")).crs is None


def test_geoparquet(tmp_path):
    """Oracle: GeoParquet 1.1.0: a crs left out is OGC:CRS84, null is undefined."""
    assert read_roofs(geoparquet(tmp_path / "r.parquet", [HOUSE])).crs == "OGC:CRS84"
    found = read_roofs(geoparquet(tmp_path / "r.parquet", [HOUSE, shapely.Point(1, 2)], crs=None))
    assert found.crs is None and [roof.id for roof in found.roofs] == ["n0", "n1"]
    assert found.roofs[0].shape.equals(HOUSE)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("r.shp", b"", "need .geojson, .gpkg or .parquet"),
        ("r.geojson", b"[]", "not a GeoJSON object"),
        ("r.geojson", b'{"type": "FeatureCollection", "features": []}', "holds no polygon"),
        ("r.geojson", b'{"type": "FeatureCollection", "features": [3]}', "feature 1 is no geometry"),
        ("r.geojson", b'{"type": "LineString", "coordinates": [[0,0],[1,1]]}', "is a LineString"),
        (
            "r.geojson",
            b'{"type": "Polygon", "coordinates": [[[0,0],[1,1],[1,0],[0,1],[0,0]]]}',
            "cross itself",
        ),
        ("r.geojson", b'{"type": "Feature", "properties": null, "geometry": null}', "no geometry"),
        ("r.gpkg", b"SQLite format 3\0", "not a GeoPackage"),
        ("r.parquet", b"PAR1", "not a GeoParquet"),
    ],
)
def test_what_is_no_map_of_roofs_is_refused(tmp_path, name, content, message):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=message):
        read_roofs(tmp_path / name)


def test_a_layer_must_be_the_only_one(tmp_path):
    path = geopackage(tmp_path / "r.gpkg", [HOUSE])
    base = sqlite3.connect(path)
    base.execute("INSERT INTO gpkg_geometry_columns VALUES ('roads', 'geom', 'GEOMETRY', 25832, 0, 0)")
    base.commit()
    base.close()
    with pytest.raises(InputError, match="2 layers with geometry"):
        read_roofs(path)
