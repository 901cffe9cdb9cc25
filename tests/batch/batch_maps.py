"""Maps of roofs, written by hand from the published formats; nothing of the package is used."""

import json
import sqlite3
import struct

import pyarrow as pa
import pyarrow.parquet as pq
import shapely

HOUSE = shapely.Polygon([(0, 0), (10, 0), (10, 8), (0, 8)])
TWO = shapely.MultiPolygon([HOUSE, shapely.transform(HOUSE, lambda xy: xy + 20)])


def geopackage(path, shapes, *, srs=25832, organization="EPSG", envelope=1):
    """A GeoPackage by hand: OGC 12-128r18, tables of clause 1.1 and 2.1, blobs of 2.1.3."""
    base = sqlite3.connect(path)
    base.execute(
        "CREATE TABLE gpkg_spatial_ref_sys"
        " (srs_name, srs_id, organization, organization_coordsys_id, definition)"
    )
    base.execute(
        "INSERT INTO gpkg_spatial_ref_sys VALUES ('x', ?, ?, ?, 'undefined')", (srs, organization, srs)
    )
    base.execute(
        "CREATE TABLE gpkg_geometry_columns (table_name, column_name, geometry_type_name, srs_id, z, m)"
    )
    base.execute("INSERT INTO gpkg_geometry_columns VALUES ('roofs', 'geom', 'GEOMETRY', ?, 0, 0)", (srs,))
    base.execute("CREATE TABLE roofs (fid INTEGER PRIMARY KEY, geom BLOB, building_id TEXT)")
    for number, shape in enumerate(shapes):
        west, south, east, north = shape.bounds
        box = struct.pack("<4d", west, east, south, north) if envelope else b""
        blob = struct.pack("<2sBBi", b"GP", 0, envelope << 1 | 1, srs) + box + shapely.to_wkb(shape)
        base.execute("INSERT INTO roofs (geom, building_id) VALUES (?, ?)", (blob, f"b{number}"))
    base.commit()
    base.close()
    return path


def geoparquet(path, shapes, **about):
    """A GeoParquet 1.1.0 file by pyarrow; `about` goes into the column's metadata."""
    column = {"encoding": "WKB", "geometry_types": [], **about}
    geo = {"version": "1.1.0", "primary_column": "g", "columns": {"g": column}}
    table = pa.table(
        {"name": [f"n{i}" for i in range(len(shapes))], "g": [shapely.to_wkb(s) for s in shapes]}
    )
    pq.write_table(table.replace_schema_metadata({"geo": json.dumps(geo)}), path)
    return path
