"""roof.city.json read back by two other programs, and held to the standard and to exact geometry."""

import json
import subprocess
import sys

import cityjson_lib
import numpy as np
import pytest

from report import hand_roofs
from report.hostile_texts import TEXTS
from slopewright import mesh, report
from slopewright.report.city_file import city_json
from slopewright.report.grid import grid_of
from slopewright.report.text import plain_text

BY_CJIO = """
import json, sys
from cjio import cityjson
with open(sys.argv[1], encoding="utf-8") as stream:
    read = cityjson.reader(stream)
told = {"version": read.get_version(), "epsg": read.get_epsg(), "title": read.get_title()}
told |= {"box": read.get_bbox(), "found_box": read.calculate_bbox()}
print(json.dumps(told))
"""
NAMES = list(hand_roofs.ALL)
PLACE = {"origin": (512000.0, 5403000.0, 300.0), "crs": "EPSG:25832"}


def made(name, **more):
    roof = hand_roofs.ALL[name](**more)
    return roof, report.json_bytes(city_json(roof, mesh.run(roof), grid_of(roof.frame), title="A job"))


def read_by_cjio(content, tmp_path):
    """What cjio reads, in a process of its own: it changes how Python writes numbers as JSON."""
    path = tmp_path / "roof.city.json"
    path.write_bytes(content)
    done = subprocess.run([sys.executable, "-c", BY_CJIO, str(path)], capture_output=True, check=True)
    return json.loads(done.stdout)


def shell(content):
    """World coordinates and the surfaces of the geometry."""
    tree = json.loads(content)
    scale, shift = (np.array(tree["transform"][name]) for name in ("scale", "translate"))
    geometry = tree["CityObjects"]["roof"]["geometry"][0]
    solid = geometry["type"] == "Solid"
    surfaces = geometry["boundaries"][0] if solid else geometry["boundaries"]
    values = geometry["semantics"]["values"][0] if solid else geometry["semantics"]["values"]
    meanings = geometry["semantics"]["surfaces"]
    return np.array(tree["vertices"]) * scale + shift, surfaces, [meanings[v] for v in values]


@pytest.mark.parametrize("name", NAMES)
def test_other_readers_take_it_for_one_valid_building(name, tmp_path):
    """Oracle: cityjson-lib, which refuses what the standard does not know, and cjio."""
    roof, content = made(name, **PLACE)
    model = cityjson_lib.CityModel.from_document_bytes(content)
    assert [str(kind) for kind in model.geometry_types()] == [str(cityjson_lib.GeometryType.SOLID)]
    read = read_by_cjio(content, tmp_path)
    assert (read["version"], read["epsg"]) == ("2.0", 25832)
    low = roof.vertices.min(axis=0) + PLACE["origin"]
    assert read["box"][:2] == pytest.approx(low[:2], abs=1e-3)
    assert read["box"] == pytest.approx(read["found_box"], abs=1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_it_says_of_each_surface_what_it_is(name):
    """Oracle: CityJSON 2.0, 3.3: a value for each surface; roofs look up, walls aside, grounds down."""
    _, content = made(name, **PLACE)
    corners, surfaces, meanings = shell(content)
    assert len(surfaces) == len(meanings)
    for rings, meaning in zip(surfaces, meanings, strict=True):
        vector = sum(hand_roofs.ring_vector_area(corners[ring]) for ring in rings)
        up = vector[2] / np.linalg.norm(vector)
        expected = {"RoofSurface": up > 0.1, "WallSurface": abs(up) < 1e-3, "GroundSurface": up < -0.999}
        assert expected[meaning["type"]], meaning


@pytest.mark.parametrize("name", NAMES)
def test_its_surfaces_are_the_planes_in_the_world(name):
    """Oracle: Newell's area of the rounded rings; a step is 0.1 mm."""
    roof, content = made(name, **PLACE)
    corners, surfaces, meanings = shell(content)
    for rings, meaning in zip(surfaces, meanings, strict=True):
        if meaning["type"] == "RoofSurface":
            plane = next(p for p in roof.planes if p.id == meaning["plane"])
            vector = sum(hand_roofs.ring_vector_area(corners[ring]) for ring in rings)
            assert np.linalg.norm(vector) == pytest.approx(plane.area.value, rel=1e-3, abs=1e-3)
            assert meaning["area_m2"] == pytest.approx(plane.area.value, abs=1e-6)
            assert meaning["area_m2_low"] <= meaning["area_m2"] <= meaning["area_m2_high"]
            heights = corners[rings[0]] @ plane.normal - plane.offset - plane.normal @ PLACE["origin"]
            assert np.abs(heights).max() < 2e-4


def test_without_ground_it_is_an_open_surface():
    _, content = made("two_level", ground_z=None)
    model = cityjson_lib.CityModel.from_document_bytes(content)
    assert [str(kind) for kind in model.geometry_types()] == [str(cityjson_lib.GeometryType.MULTI_SURFACE)]
    assert "referenceSystem" not in json.loads(content)["metadata"]


@pytest.mark.parametrize("text", TEXTS)
def test_any_text_is_text(text, tmp_path):
    roof = hand_roofs.gable(name_planes=[text, "B"], crs=text)
    content = report.json_bytes(city_json(roof, mesh.run(roof), grid_of(roof.frame), title=text))
    if b"\\" not in content:  # cityjson-lib 0.11 reads no text with an escape in it
        cityjson_lib.CityModel.from_document_bytes(content)
    read = read_by_cjio(content, tmp_path)
    assert read["epsg"] is None
    assert read["title"] == plain_text(text)
