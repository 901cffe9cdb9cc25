"""Every reader of files, with whole files to start from: a name, what kind of damage, seeds, and a call.

A call gets the path of the damaged file, in a folder of its own, and may return anything or raise
InputError.  Everything else is a fault.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from batch_maps import HOUSE, TWO, geopackage, geoparquet
from cloud_files import (
    cartesian_fields,
    house_points,
    write_e57,
    write_las,
    write_pcd,
    write_ply,
    write_text,
)

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Target:
    name: str
    kind: str  # of damage, as in fuzz_mutate
    file: str  # name of the damaged file
    seeds: Sequence[bytes]
    call: Callable[[Path], object]
    weight: float = 1.0  # share of the mutants, against the others; slow calls get less


def all_targets(folder):
    """All targets; `folder` is for files made on the way."""
    return [*clouds(folder), *settings(folder), *run_folders(folder), *maps(folder)]


def cut(path):
    """Points of a tile under two boxes, as one file."""
    from slopewright.cloud import las_bytes, open_tile, points_under

    tile = open_tile(path)
    boxes = np.array([[2.0, 1.0, 9.0, 7.0], [-1e9, -1e9, 1e9, 1e9]])
    return [las_bytes([(tile, points)], bytes(16)) for points in points_under(tile, boxes)]


def clouds(folder):
    from slopewright.cloud import read_cloud

    def read(path):
        return read_cloud(path, unit="m")

    xyz = house_points(300)
    data = ROOT / "tests" / "data" / "laspy"
    wkt = 'PROJCS["x",GEOGCS["y",DATUM["z",SPHEROID["s",6378137,298.257]],PRIMEM["g",0],UNIT["d",0.01745]],'
    wkt += 'PROJECTION["Transverse_Mercator"],UNIT["metre",1]]'
    las = [
        _bytes(write_las(folder / "a", xyz, minor=minor, point_format=form, **more))
        for minor, form, more in (
            (0, 0, {}), (2, 1, {"keys": [(1024, 0, 1, 1), (3072, 0, 1, 25832)]}), (2, 3, {"extra_bytes": 5}),
            (3, 4, {}), (4, 6, {"wkt": wkt, "encoding": 16}), (4, 7, {"evlr_wkt": wkt, "encoding": 16}),
        )
    ]  # fmt: skip
    las.append((data / "simple1_1.las").read_bytes())
    laz = [_laz(folder, xyz, form) for form in (0, 1, 3, 6, 7)]
    copc = [(data / "simple.copc.laz").read_bytes()]
    ply = [
        _bytes(write_ply(folder / "a", xyz[:80], form=form, kind=kind, before=before))
        for form in ("ascii", "binary_little_endian", "binary_big_endian")
        for kind, before in (("double", False), ("float", True))
    ]
    pcd = [
        _bytes(write_pcd(folder / "a", xyz[:80], data=form, size=size))
        for form in ("ascii", "binary", "binary_compressed")
        for size in (4, 8)
    ]
    pose = {"rotation": (0.8, 0.0, 0.0, 0.6), "translation": (1.0, 2.0, 3.0)}
    e57 = [
        _bytes(write_e57(folder / "a", [{"fields": cartesian_fields(xyz[:150])}])),
        _bytes(write_e57(folder / "a", [{"fields": cartesian_fields(xyz[:60]), **pose}] * 2, metadata=wkt)),
    ]
    lines = [f"{x},{y},{z}" for x, y, z in xyz[:80].tolist()]
    text = [
        _bytes(write_text(folder / "a", ["x,y,z", *lines])),
        _bytes(write_text(folder / "a", ["# note", *(line.replace(",", " ") for line in lines)])),
        _bytes(
            write_text(
                folder / "a", ["x y z intensity", *(line.replace(",", "\t") + "\t7" for line in lines)]
            )
        ),
    ]
    return [
        Target("las", "binary", "a.las", las, read, 2),
        Target("laz", "binary", "a.laz", laz, read, 2),
        Target("copc", "binary", "a.copc.laz", copc, read),
        Target("tile, cut", "binary", "t.laz", las + laz + copc, cut),
        Target("ply", "binary", "a.ply", ply, read),
        Target("pcd", "binary", "a.pcd", pcd, read),
        Target("e57", "e57", "a.e57", e57, read, 0.7),
        Target("text", "text", "a.csv", text, read),
    ]


def settings(folder):
    from slopewright.batch import read_gates, read_manifest
    from slopewright.dispute.table import read_table
    from slopewright.job import load_job
    from slopewright.job.systems import read_system
    from slopewright.photos.marks import read_marks
    from slopewright.takeoff import system_from_toml

    job = (ROOT / "sample_inputs" / "house" / "job.toml").read_bytes()
    full = b"""[job]
name = "x"
unit = "m"
[site]
storeys = 2
overhang_m = 0.4
[scope]
planes = ["A"]
retained = ["x"]
[counts]
vents = 2
[system]
name = "composition-laminated"
[[tape]]
edge = "e3"
length = 32.5
unit = "ft"
u = 0.02
[[reference]]
between = [[1.0, 4.0, 0.0], [1.0, 4.0, 3.0]]
length = 9.84
unit = "ft"
u = 0.01
"""
    marks = {
        "format": "slopewright-marks", "version": 1,
        "marks": [{"name": "a", "u_px": 1.0, "photos": {"p.jpg": [812.4, 455.1], "q.jpg": [1.5, 2]}},
                  {"name": "b", "u_px": 2, "photos": {"p.jpg": [12, 55]}}],
    }  # fmt: skip
    systems = [path.read_bytes() for path in sorted((ROOT / "configs" / "systems").glob("*.toml"))]
    manifest = [
        b"id,input,unit,system,at_x,at_y,footprint\n1,a.laz,m,,,,\n2,b.laz,ft,,1.5,2.5,\n3,c,,s.toml,,,f.geojson\n",
        b'id;input\r\n"a ""b""";x.las\r\n',
    ]
    tape = [
        b"edge,length,unit,how,u,note\ne1,32 ft 6 in,,steel tape,,x\ne2+e3,12.5,m,,0.01,\n",
        b'from;to;length\ne1/e4;a;"12\' 6"""\n',
    ]
    other = [b'item,quantity,unit\nshingles,24.5,sq\nridge cap,"1,234",lf\n']

    def read_job(path):
        (path.parent / "cloud.laz").write_bytes(b"x")
        return load_job(path)

    headings = ("edge", "from", "to", "length", "unit", "how", "u", "note", "item", "quantity")

    def read_any_table(path):
        return read_table(path.read_bytes(), file=path.name, known=headings, needed=())

    return [
        Target("job.toml", "text", "job.toml", [job, full], read_job, 0.7),
        Target(
            "system.toml",
            "text",
            "s.toml",
            systems,
            lambda p: system_from_toml(read_system(p), file="s"),
            0.3,
        ),
        Target(
            "gates.toml",
            "text",
            "g.toml",
            [(ROOT / "configs/gates/standard.toml").read_bytes()],
            read_gates,
            0.5,
        ),
        Target("marks.json", "text", "marks.json", [json.dumps(marks, indent=1).encode()], read_marks),
        Target("manifest.csv", "text", "m.csv", manifest, read_manifest),
        Target("tape.csv, compare.csv", "text", "t.csv", tape + other, read_any_table),
    ]


def run_folders(folder):
    from slopewright.intent import Intent, Options
    from slopewright.outputs import read_editable, read_roof, read_takeoff
    from slopewright.run import measure
    from slopewright.runfolder import RunRecord

    run = folder / "seed.run"
    if not run.exists():
        measure(ROOT / "sample_inputs" / "house", run, Options(files="roof"))
    held = {path.name: path.read_bytes() for path in run.iterdir()}

    def beside(*names):
        def put(path):
            for name in names:
                (path.parent / name).write_bytes(held[name])
            return path.parent

        return put

    def read_run(path):
        record = RunRecord.read(path.parent)
        return record.notices(but=()), Intent.of_record(record)

    with_joint, with_roof = beside("covariance.json"), beside("roof.json", "covariance.json")
    return [
        Target(
            "roof.json", "text", "roof.json", [held["roof.json"]], lambda p: read_roof(with_joint(p)), 0.5
        ),
        Target(
            "covariance.json",
            "text",
            "covariance.json",
            [held["covariance.json"]],
            lambda p: read_roof(beside("roof.json")(p)),
            0.5,
        ),
        Target(
            "takeoff.json",
            "text",
            "takeoff.json",
            [held["takeoff.json"]],
            lambda p: read_takeoff(p.parent, ()),
            0.5,
        ),
        Target(
            "state.json",
            "text",
            "state.json",
            [held["state.json"]],
            lambda p: read_editable(with_roof(p)),
            0.3,
        ),
        Target("run.json", "text", "run.json", [held["run.json"]], read_run, 0.5),
    ]


def maps(folder):
    from slopewright.batch import read_roofs
    from slopewright.isolate import footprint_from_geojson
    from slopewright.report import read_json

    ring = [[0, 0], [10, 0], [10, 8], [0, 8], [0, 0]]
    polygon = {"type": "Polygon", "coordinates": [ring]}
    feature = {"type": "Feature", "properties": {"id": "7"}, "geometry": polygon}
    seeds = [
        json.dumps(shape, indent=1).encode()
        for shape in (polygon, feature, {"type": "FeatureCollection", "features": [feature]},
                      {"type": "MultiPolygon", "coordinates": [[ring]]})
    ]  # fmt: skip

    def footprint(path):
        return footprint_from_geojson(read_json(path), file=path.name)

    houses = [HOUSE, TWO, shapely.Point(3, 4)]
    gpkg = [geopackage(folder / f"{k}.gpkg", houses, envelope=k).read_bytes() for k in (0, 1)]
    parquet = [
        geoparquet(folder / "a.parquet", houses, **about).read_bytes() for about in ({}, {"crs": None})
    ]
    return [
        Target("footprint.geojson", "text", "f.geojson", seeds, footprint),
        Target("roofs.geojson", "text", "r.geojson", seeds, read_roofs),
        Target("roofs.gpkg", "binary", "r.gpkg", gpkg, read_roofs),
        Target("roofs.parquet", "binary", "r.parquet", parquet, read_roofs),
    ]


def _bytes(path):
    return Path(path).read_bytes()


def _laz(folder, xyz, point_format):
    """A LAZ file as laspy writes it."""
    import laspy

    header = laspy.LasHeader(point_format=point_format, version="1.4" if point_format >= 6 else "1.2")
    header.scales, header.offsets = [0.001] * 3, [0.0] * 3
    las = laspy.LasData(header)
    las.xyz = np.asarray(xyz)
    las.write(folder / "a.laz")
    return _bytes(folder / "a.laz")
