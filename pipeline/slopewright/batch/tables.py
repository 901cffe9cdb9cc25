"""The results as tables: CSV for a spreadsheet, GeoParquet for maps, and what every job took."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import shapely

from ..report.takeoff_table import FORMULA_STARTS
from ..report.text import plain_text
from .entry import folder_name
from .isolated import Answer
from .row import MEASURED, Row, value_columns

HEAD = ("id", "status", "gate", "stopped_by", "reason", "warnings", "run")
PASS, LOOK = "pass", "look"
GEOPARQUET = "1.1.0"  # the GeoParquet specification, version 1.1.0: file metadata "geo"
LON_LAT = "OGC:CRS84"
COORDINATE_DECIMALS = 9  # of degrees: a tenth of a millimetre


def head_of(row: Row, stopped: Sequence[str]) -> tuple[str, ...]:
    """The columns with text."""
    run = f"runs/{folder_name(row.id)}" if row.status in MEASURED else ""
    gate = LOOK if stopped else PASS
    return (row.id, str(row.status), gate, " ".join(stopped), row.reason, " ".join(row.warnings), run)


def results_csv(rows: Sequence[Row], stopped: Sequence[Sequence[str]]) -> bytes:
    """A line a roof (RFC 4180, UTF-8, one header row); numbers in metres, square metres and squares.

    A text that a spreadsheet would take for a formula has an apostrophe before it.
    """
    table = io.StringIO(newline="")
    writer = csv.writer(table, lineterminator="\r\n")
    writer.writerow((*HEAD, *value_columns()))
    for row, rules in zip(rows, stopped, strict=True):
        numbers = (row.values.get(name) for name in value_columns())
        writer.writerow(
            [*map(_cell, head_of(row, rules)), *("" if n is None else f"{n:.10g}" for n in numbers)]
        )
    return table.getvalue().encode("utf-8")


def times_csv(answers: Sequence[Answer]) -> bytes:
    """What each job took this time; apart, because it differs from run to run."""
    table = io.StringIO(newline="")
    writer = csv.writer(table, lineterminator="\r\n")
    writer.writerow(("id", "seconds", "peak_mb", "held"))
    for answer in answers:
        held = "yes" if answer.held else "no"
        writer.writerow((_cell(answer.row.id), f"{answer.seconds:.3f}", f"{answer.peak_mb:.1f}", held))
    return table.getvalue().encode("utf-8")


def results_parquet(rows: Sequence[Row], stopped: Sequence[Sequence[str]]) -> bytes:
    """The same table as GeoParquet [1]_, with the outline of each roof whose map grid is known.

    Outlines stand in the grid of the clouds if they have one in common, else in longitude and latitude
    (OGC:CRS84).  The same rows give the same bytes with the same version of the library.

    References
    ----------
    .. [1] GeoParquet specification 1.1.0, https://geoparquet.org/releases/v1.1.0/
    """
    pa, parquet = import_module("pyarrow"), import_module("pyarrow.parquet")
    heads = [head_of(row, rules) for row, rules in zip(rows, stopped, strict=True)]
    columns: dict[str, Any] = {
        name: pa.array([plain_text(head[i]) for head in heads], pa.string()) for i, name in enumerate(HEAD)
    }
    for name in value_columns():
        columns[name] = pa.array([row.values.get(name) for row in rows], pa.float64())
    crs, outlines = _in_one_grid(rows)
    columns["geometry"] = pa.array([o and shapely.to_wkb(o, byte_order=1) for o in outlines], pa.binary())
    geo = {
        "version": GEOPARQUET,
        "primary_column": "geometry",
        "columns": {
            "geometry": {
                "encoding": "WKB",
                "geometry_types": sorted({o.geom_type for o in outlines if o is not None}),
                "crs": crs,
            }
        },
    }
    table = pa.table(columns).replace_schema_metadata({"geo": json.dumps(geo)})
    sink = io.BytesIO()
    parquet.write_table(table, sink, compression="zstd")
    return sink.getvalue()


def _in_one_grid(rows: Sequence[Row]) -> tuple[Any, list[shapely.Geometry | None]]:
    """PROJJSON of the one reference system (None: undefined), and the outlines in it."""
    shapes = [shapely.from_wkb(row.outline) if row.outline else None for row in rows]
    names = sorted({row.crs for row in rows if row.crs and row.outline})
    if not names:
        return None, shapes
    pyproj: Any = import_module("pyproj")
    systems = {name: _horizontal(pyproj.CRS.from_user_input(name)) for name in names}
    if len(names) == 1:
        return systems[names[0]].to_json_dict(), shapes
    target = pyproj.CRS.from_user_input(LON_LAT)
    for i, row in enumerate(rows):
        if shapes[i] is not None and row.crs:
            way = pyproj.Transformer.from_crs(systems[row.crs], target, always_xy=True)
            moved = shapely.transform(shapes[i], lambda x, y, way=way: way.transform(x, y), interleaved=False)
            shapes[i] = shapely.set_precision(moved, 10.0**-COORDINATE_DECIMALS)
    return target.to_json_dict(), shapes


def _horizontal(crs: Any) -> Any:
    return crs.sub_crs_list[0] if crs.is_compound else crs


def _cell(text: str) -> str:
    shown = plain_text(text)
    return "'" + shown if text.startswith(FORMULA_STARTS) or shown.startswith(FORMULA_STARTS) else shown
