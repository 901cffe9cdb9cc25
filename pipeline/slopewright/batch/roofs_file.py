"""Footprints or points of roofs on a map: GeoJSON (RFC 7946), GeoPackage (OGC 12-128), GeoParquet 1.x."""

from __future__ import annotations

import json
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from ..errors import InputError
from ..report import read_json

LON_LAT = "OGC:CRS84"
ID_NAMES = ("id", "roof_id", "building_id", "fid", "name")  # of the column or property that names a roof
ENVELOPE_BYTES = (0, 32, 48, 48, 64)  # GeoPackage 1.3, 2.1.3: by the indicator in the flags
GEOPACKAGE_HEAD = 8
NO_CRS = (-1, 0)  # srs_id of GeoPackage: undefined Cartesian, undefined geographic


@dataclass(frozen=True, slots=True, kw_only=True)
class MappedRoof:
    """One roof of the map."""

    id: str
    shape: shapely.Geometry  # a Point or a Polygon, in the coordinates of the file


@dataclass(frozen=True, slots=True, kw_only=True)
class RoofsFile:
    """All roofs of a map, and the reference system that they are in."""

    roofs: tuple[MappedRoof, ...]
    crs: str | None  # as pyproj takes it; None: that of the tiles


def read_roofs(path: Path) -> RoofsFile:
    """The roofs of a map.

    Parameters
    ----------
    path : Path
        .geojson or .json, .gpkg, .parquet.  A roof of several polygons is that many roofs.

    Raises
    ------
    InputError
        If the file cannot be read, holds no roof, or something that is neither polygon nor point.
    """
    readers = {".geojson": _geojson, ".json": _geojson, ".gpkg": _geopackage, ".parquet": _geoparquet}
    reader = readers.get(path.suffix.lower())
    if reader is None:
        raise InputError(f"{path}: not a map we know, need .geojson, .gpkg or .parquet")
    if not path.is_file():
        raise InputError(f"{path}: no such file, need footprints or points of roofs")
    found, crs = reader(path)
    roofs = tuple(
        roof
        for number, (name, shape) in enumerate(found, start=1)
        for roof in _parts(path, name, number, shape)
    )
    if not roofs:
        raise InputError(f"{path}: holds no polygon and no point, need one a roof")
    return RoofsFile(roofs=roofs, crs=crs)


def _parts(path: Path, name: Any, number: int, shape: Any) -> Iterator[MappedRoof]:
    identity = str(number) if name is None or str(name) == "" else str(name)
    if shape is None or shape.is_empty:
        raise InputError(f"{path}: roof {identity!r} has no geometry, need a polygon or a point")
    parts = list(getattr(shape, "geoms", [shape]))
    for k, part in enumerate(parts, start=1):
        part = shapely.force_2d(part)
        if not isinstance(part, shapely.Polygon | shapely.Point):
            raise InputError(f"{path}: roof {identity!r} is a {part.geom_type}, need a polygon or a point")
        if not np.isfinite(part.bounds).all():
            raise InputError(f"{path}: roof {identity!r} has coordinates that are not finite")
        if not part.is_valid or (isinstance(part, shapely.Polygon) and part.area <= 0):
            reason = shapely.is_valid_reason(part)
            raise InputError(
                f"{path}: roof {identity!r}: {reason}, need an outline that does not cross itself"
            )
        yield MappedRoof(id=identity if len(parts) == 1 else f"{identity}.{k}", shape=part)


def _geojson(path: Path) -> tuple[list[tuple[Any, Any]], str | None]:
    content = read_json(path)
    if not isinstance(content, dict):
        raise InputError(f"{path}: not a GeoJSON object, need a FeatureCollection")
    features = content.get("features") if content.get("type") == "FeatureCollection" else [content]
    if not isinstance(features, list):
        raise InputError(f"{path}: features is no list, need a FeatureCollection")
    found = []
    for number, feature in enumerate(features, start=1):
        geometry = feature.get("geometry", feature) if isinstance(feature, dict) else None
        try:
            shape = shapely.from_geojson(json.dumps(geometry))
        except (shapely.errors.ShapelyError, ValueError, TypeError, RecursionError) as error:
            raise InputError(f"{path}: feature {number} is no geometry, need polygons or points") from error
        found.append((_name_in(feature), shape))
    return found, _geojson_crs(path, content, found)


def _name_in(feature: dict[str, Any]) -> Any:
    properties = feature.get("properties")
    given = {str(k).lower(): v for k, v in properties.items()} if isinstance(properties, dict) else {}
    names = [feature.get("id"), *(given.get(name) for name in ID_NAMES)]
    return next((name for name in names if isinstance(name, str | int) and not isinstance(name, bool)), None)


def _geojson_crs(path: Path, content: dict[str, Any], found: list[tuple[Any, Any]]) -> str | None:
    """What the older "crs" member names; else degrees, if they can be: the standard has no other."""
    member = content.get("crs")
    if isinstance(member, dict):
        name = (
            (member.get("properties") or {}).get("name")
            if isinstance(member.get("properties"), dict | None)
            else None
        )
        if not isinstance(name, str):
            raise InputError(f"{path}: crs names nothing, need a name like urn:ogc:def:crs:EPSG::25832")
        return LON_LAT if "CRS84" in name else name
    shapes = [shape for _, shape in found if shape is not None and not shape.is_empty]
    if not shapes:
        return None
    west, south, east, north = shapely.total_bounds(shapes)
    return LON_LAT if west >= -180 and east <= 180 and south >= -90 and north <= 90 else None


def _geopackage(path: Path) -> tuple[list[tuple[Any, Any]], str | None]:
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)) as base:
            tables = base.execute(
                "SELECT table_name, column_name, srs_id FROM gpkg_geometry_columns"
            ).fetchall()
            if len(tables) != 1:
                named = ", ".join(str(table[0]) for table in tables[:4]) or "none"
                raise InputError(f"{path}: {len(tables)} layers with geometry ({named}), need one")
            table, column, srs_id = tables[0]
            columns = [row[1] for row in base.execute(f"PRAGMA table_info({_quoted(table)})")]
            ids = [name for wanted in ID_NAMES for name in columns if name.lower() == wanted]
            chosen = _quoted(ids[0]) if ids else "NULL"
            rows = base.execute(
                f"SELECT {chosen}, {_quoted(column)} FROM {_quoted(table)} ORDER BY rowid"
            ).fetchall()
            crs = _geopackage_crs(base, srs_id)
    except (sqlite3.Error, OverflowError) as error:
        raise InputError(f"{path}: not a GeoPackage that can be read ({error}), need one") from error
    return [
        (name, _geopackage_shape(path, number, blob)) for number, (name, blob) in enumerate(rows, start=1)
    ], crs


def _quoted(name: Any) -> str:
    return '"' + str(name).replace('"', '""') + '"'


def _geopackage_crs(base: sqlite3.Connection, srs_id: Any) -> str | None:
    row = base.execute(
        "SELECT organization, organization_coordsys_id, definition FROM gpkg_spatial_ref_sys"
        " WHERE srs_id = ?",
        (srs_id,),
    ).fetchone()
    if srs_id in NO_CRS or row is None:
        return None
    organization, code, definition = row
    return f"EPSG:{code}" if str(organization).upper() == "EPSG" else str(definition)


def _geopackage_shape(path: Path, number: int, blob: Any) -> Any:
    """The geometry of a GeoPackage blob: a head of eight bytes, an envelope, well-known binary."""
    if blob is None:
        return None
    if not isinstance(blob, bytes) or len(blob) < GEOPACKAGE_HEAD or blob[:2] != b"GP":
        raise InputError(f"{path}: row {number} holds no GeoPackage geometry, need polygons or points")
    envelope = blob[3] >> 1 & 0x07
    start = GEOPACKAGE_HEAD + (ENVELOPE_BYTES[envelope] if envelope < len(ENVELOPE_BYTES) else 0)
    return _shape(path, number, blob[start:])


def _shape(path: Path, number: int, wkb: Any) -> Any:
    if wkb is None:
        return None
    try:
        return shapely.from_wkb(wkb)
    except (shapely.errors.ShapelyError, TypeError, struct.error) as error:
        raise InputError(f"{path}: row {number} holds no geometry, need polygons or points") from error


def _geoparquet(path: Path) -> tuple[list[tuple[Any, Any]], str | None]:
    pa, parquet = import_module("pyarrow"), import_module("pyarrow.parquet")
    try:
        file = parquet.ParquetFile(path)
        geo = json.loads((file.schema_arrow.metadata or {})[b"geo"])
        column = geo["primary_column"]
        about = geo["columns"][column]
        if about["encoding"] != "WKB":
            raise InputError(f"{path}: geometry is encoded as {about['encoding']}, need WKB")
        crs = about.get("crs", LON_LAT)  # the specification's meaning of a crs that is left out
        names = {name.lower(): name for name in file.schema_arrow.names}
        chosen = next((names[name] for name in ID_NAMES if name in names), None)
        table = file.read(columns=[column] + ([chosen] if chosen else []))
        shapes = table.column(column).to_pylist()
        ids = table.column(chosen).to_pylist() if chosen else [None] * len(shapes)
    except (
        KeyError,
        TypeError,
        AttributeError,
        ValueError,
        RecursionError,
        OSError,
        pa.ArrowException,
    ) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"{path}: not a GeoParquet file that can be read ({str(error)[:120]}), need one"
        ) from error
    found = [
        (name, _shape(path, number, wkb))
        for number, (name, wkb) in enumerate(zip(ids, shapes, strict=True), start=1)
    ]
    return found, crs if crs is None or isinstance(crs, str) else json.dumps(crs)
