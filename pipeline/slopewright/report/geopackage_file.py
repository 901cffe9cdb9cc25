"""roof.gpkg: planes and edges in plan, in the roof's own grid, as a GeoPackage.

References
----------
.. [1] OGC 12-128r18, GeoPackage Encoding Standard 1.3: table 1 (header of the file), 1.1.2 to 1.1.3 and
   2.1 (tables), 2.1.3 (header of a geometry).
"""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Sequence
from typing import Any

import shapely

from ..roof import Roof
from .grid import Grid
from .map_rows import Row, edge_row, plane_row

APPLICATION_ID, USER_VERSION = 0x47504B47, 10300  # "GPKG", version 1.3 [1]
NO_DATE = "1970-01-01T00:00:00.000Z"  # files of the same roof are the same
OWN_SRS = 100000  # of a grid without an EPSG code
UNDEFINED = ((-1, "Undefined cartesian SRS"), (0, "Undefined geographic SRS"))  # rows that must be there [1]
WGS84_WKT = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
    'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],'
    'UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AUTHORITY["EPSG","4326"]]'
)
TABLES = """
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY,
 organization TEXT NOT NULL,
 organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL,
 identifier TEXT UNIQUE, description TEXT DEFAULT '',
 last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
 min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
 CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL,
 geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
 CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
 CONSTRAINT uk_gc_table_name UNIQUE (table_name),
 CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
 CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
"""


def roof_geopackage(roof: Roof, grid: Grid) -> bytes:
    """The bytes of roof.gpkg: a table `planes` of polygons and a table `edges` of lines.

    Parameters
    ----------
    roof : Roof
    grid : Grid
        Of its frame.
    """
    xy = grid.coordinates(roof.vertices[:, :2])
    planes = [
        shapely.Polygon(xy[list(plane.loops[0])], [xy[list(loop)] for loop in plane.loops[1:]])
        for plane in roof.planes
    ]
    edges = [shapely.LineString(xy[[edge.start, edge.end]]) for edge in roof.edges]
    srs = OWN_SRS if grid.epsg is None else grid.epsg
    organization = "NONE" if grid.epsg is None else "EPSG"
    file = sqlite3.connect(":memory:")
    try:
        file.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        file.execute(f"PRAGMA user_version = {USER_VERSION}")
        file.executescript(TABLES)
        rows = [(name, code, "NONE", code, "undefined", "") for code, name in UNDEFINED]
        rows.append(("WGS 84 geodetic", 4326, "EPSG", 4326, WGS84_WKT, "longitude, latitude"))
        rows.append((grid.name, srs, organization, srs, grid.wkt, ""))
        file.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?,?,?,?,?,?)", rows)
        _table(file, "planes", "POLYGON", srs, planes, [plane_row(plane) for plane in roof.planes])
        if edges:
            _table(file, "edges", "LINESTRING", srs, edges, [edge_row(edge) for edge in roof.edges])
        file.commit()
        return file.serialize()
    finally:
        file.close()


def _table(
    file: sqlite3.Connection, name: str, kind: str, srs: int, shapes: Sequence[Any], rows: list[Row]
) -> None:
    types = {str: "TEXT", float: "DOUBLE", int: "INTEGER"}
    columns = ", ".join(f"{key} {types[type(value)]}" for key, value in rows[0].items())
    columns = columns.replace("id TEXT", "name TEXT", 1)  # of the plane or edge; `fid` is the row's own
    file.execute(
        f"CREATE TABLE {name} (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom {kind}, {columns})"
    )
    bounds = [float(bound) for bound in shapely.total_bounds(list(shapes))]
    file.execute(
        "INSERT INTO gpkg_contents VALUES (?,'features',?,'',?,?,?,?,?,?)",
        (name, name, NO_DATE, *bounds, srs),
    )
    file.execute("INSERT INTO gpkg_geometry_columns VALUES (?,'geom',?,?,0,0)", (name, kind, srs))
    marks = ",".join("?" * (len(rows[0]) + 1))
    file.executemany(
        f"INSERT INTO {name} VALUES (NULL,{marks})",
        [(_geometry(shape, srs), *row.values()) for shape, row in zip(shapes, rows, strict=True)],
    )


def _geometry(shape: Any, srs: int) -> bytes:
    """A geometry with its header: little-endian, with an envelope in x and y [1]."""
    left, bottom, right, top = shape.bounds
    head = b"GP" + struct.pack("<BBi4d", 0, 0b00000011, srs, left, right, bottom, top)
    wkb: bytes = shapely.to_wkb(shape, byte_order=1, flavor="iso")
    return head + wkb
