"""The files of a run together."""

import csv
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
import trimesh

from report import hand_roofs
from report.hand_takeoff import takeoff
from slopewright import mesh, report

PRINT_DIGESTS = """
import hashlib, sys
sys.path.insert(0, sys.argv[1])
from report import hand_roofs
from report.hand_takeoff import takeoff
from slopewright import mesh, report
roof = hand_roofs.cross_gable()
files = report.run(roof, takeoff(), mesh.run(roof), title="job")
files["roof.json"] = report.json_bytes(report.roof_json(roof))
files["covariance.json"] = report.json_bytes(report.covariance_json(roof.joint))
for name, content in files.items():
    print(name, hashlib.sha256(content).hexdigest())
"""


def test_two_runs_give_the_same_bytes_whatever_the_hash_seed():
    """Oracle: definition; sets and dictionaries of text must not decide any order."""
    outputs = [
        subprocess.run(
            [sys.executable, "-c", PRINT_DIGESTS, str(Path(__file__).parents[1])],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2", "3", "4")
    ]
    assert len(set(outputs)) == 1
    assert len(outputs[0].splitlines()) == 10


@pytest.mark.parametrize("name", hand_roofs.ALL)
def test_every_file_tells_the_same_areas_and_lengths(name):
    """Oracle: each file read by a reader of its own against roof.json and takeoff.json."""
    roof = hand_roofs.ALL[name]()
    files = report.run(roof, takeoff(), mesh.run(roof), title=name)
    content = json.loads(report.json_bytes(report.roof_json(roof)))
    areas = {plane["id"]: plane["area"]["value"] for plane in content["planes"]}
    lengths = {edge["id"]: edge["length"]["value"] for edge in content["edges"]}

    drawing = ET.fromstring(files["plan.svg"])
    shown = {e.get("data-id"): e for e in drawing.iter() if e.get("class") in ("plane", "edge")}
    assert {k: float(shown[k].get("data-area-m2")) for k in areas} == pytest.approx(areas, abs=1.01e-6)
    assert {k: float(shown[k].get("data-length-m")) for k in lengths} == pytest.approx(lengths, abs=1.01e-6)

    total = content["totals"]["area"]["value"]
    read = trimesh.load(io.BytesIO(files["roof.obj"]), file_type="obj", force="mesh")
    assert read.area == pytest.approx(total, rel=1e-6)
    scene = trimesh.load(io.BytesIO(files["roof.glb"]), file_type="glb")
    assert sum(scene.geometry[plane].area for plane in areas) == pytest.approx(total, rel=1e-6)
    city = json.loads(files["roof.city.json"])["CityObjects"]["roof"]
    told = {s["plane"]: s["area_m2"] for s in city["geometry"][0]["semantics"]["surfaces"] if "plane" in s}
    assert told == areas
    assert city["attributes"]["roof_area_m2"] == total
    squares, plan = re.search(
        r"([\d.,]+) squares ± [\d.]+ of roof, +([\d,]+) sq ft", files["plan.svg"].decode()
    ).groups()
    assert float(squares) * 9.290304 == pytest.approx(
        content["totals"]["area"]["value"], abs=0.0051 * 9.290304
    )
    assert float(plan.replace(",", "")) * 0.09290304 == pytest.approx(
        content["totals"]["plan_area"]["value"], abs=0.51 * 0.0929
    )

    lines = json.loads(files["takeoff.json"])["lines"]
    table = list(csv.DictReader(io.StringIO(files["takeoff.csv"].decode(), newline="")))
    assert [float(row["net"]) for row in table] == [line["net"]["value"] for line in lines]
    assert [row["order_quantity"] for row in table] == [
        "" if line["order"] is None else str(line["order"]["quantity"]) for line in lines
    ]
