"""roof.glb and roof.obj read back by trimesh, and by hand where the standard says what stands where."""

import io
import json
import struct

import numpy as np
import pytest
import trimesh

from report import hand_roofs
from report.test_roof_file import HOSTILE
from slopewright import mesh, report

NAMES = list(hand_roofs.ALL)


def made(name, **more):
    roof = hand_roofs.ALL[name](**more)
    return roof, mesh.run(roof)


def area_of(scene, roof):
    """Area of the planes' nodes, by trimesh."""
    walls = "walls_" if any(plane.id == "walls" for plane in roof.planes) else "walls"
    return sum(node.area for name, node in scene.geometry.items() if name != walls)


def glb_tree(data):
    """Oracle: glTF 2.0 section 4.4: header of 12 bytes, then the JSON chunk."""
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack_from("<I4s", data, 12)
    assert kind == b"JSON"
    return json.loads(data[20 : 20 + size])


@pytest.mark.parametrize("name", NAMES)
def test_glb_has_a_node_a_plane_with_its_area_and_normal(name):
    """Oracle: area by trimesh; the y-up turn of glTF 2.0 section 3.4 (x, y, z) -> (x, z, -y)."""
    roof, solid = made(name)
    scene = trimesh.load(io.BytesIO(report.glb_bytes(roof, solid)), file_type="glb")
    assert set(scene.graph.nodes_geometry) == {plane.id for plane in roof.planes} | {"walls"}
    for plane in roof.planes:
        turn, geometry = scene.graph[plane.id]
        read = scene.geometry[geometry].copy()
        read.apply_transform(turn)
        assert read.area == pytest.approx(plane.area.value, rel=1e-6)
        x, y, z = plane.normal
        np.testing.assert_allclose(read.face_normals, [[x, z, -y]] * len(read.faces), atol=1e-5)
        np.testing.assert_allclose(read.vertex_normals, [[x, z, -y]] * len(read.vertices), atol=1e-5)
    assert area_of(scene, roof) == pytest.approx(roof.area.value, rel=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_glb_has_the_walls_of_the_body_and_none_where_none_is_known(name):
    """Oracle: Newell's area of each wall; walls are upright by definition."""
    roof, solid = made(name)
    scene = trimesh.load(io.BytesIO(report.glb_bytes(roof, solid)), file_type="glb")
    walls = scene.geometry["walls"]
    rings = [solid.body.vertices[list(s.rings[0])] for s in solid.body.surfaces if s.kind == "wall"]
    areas = [np.linalg.norm(hand_roofs.ring_vector_area(ring)) for ring in rings]
    assert walls.area == pytest.approx(sum(areas), rel=1e-5)
    np.testing.assert_allclose(walls.face_normals[:, 1], 0, atol=1e-5)
    roof, solid = made("gable", ground_z=None)
    scene = trimesh.load(io.BytesIO(report.glb_bytes(roof, solid)), file_type="glb")
    assert set(scene.geometry) == {"A", "B"}


@pytest.mark.parametrize("name", NAMES)
def test_obj_keeps_faces_joined(name):
    """Oracle: area by trimesh; edges used by two faces are as many as creases and inner diagonals."""
    roof, solid = made(name)
    data = report.obj_bytes(roof, solid)
    read = trimesh.load(io.BytesIO(data), file_type="obj", process=False, force="mesh")
    assert read.area == pytest.approx(roof.area.value, rel=1e-6)
    assert [line[2:] for line in data.decode().splitlines() if line.startswith("o ")] == [
        p.id for p in roof.planes
    ]
    used = np.unique(np.sort(read.edges, axis=1), axis=0, return_counts=True)[1]
    assert set(used) <= {1, 2}
    assert (used == 1).sum() == sum(1 for edge in roof.edges if len(edge.planes) == 1)


def test_the_origin_goes_with_the_files():
    roof, solid = made("hip", origin=(512000.5, 5403000.25, 300.125), crs="EPSG:25832")
    asset = glb_tree(report.glb_bytes(roof, solid))["asset"]
    assert asset["version"] == "2.0"
    assert asset["extras"]["origin"] == [512000.5, 5403000.25, 300.125]
    assert asset["extras"]["crs"] == "EPSG:25832"
    assert b"# origin 512000.500000 5403000.250000 300.125000\n" in report.obj_bytes(roof, solid)


@pytest.mark.parametrize("form", ["glb_bytes", "obj_bytes"])
def test_the_same_roof_gives_the_same_bytes(form):
    first, second = (getattr(report, form)(*made("dormered_hip")) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("text", [*HOSTILE, "world", "roof", "walls"])
def test_any_plane_id_is_a_name_and_nothing_else(text):
    roof, solid = made("gable", name_planes=[text, "B"], crs=text)
    tree = glb_tree(report.glb_bytes(roof, solid))
    assert text in [node["name"] for node in tree["nodes"]]
    scene = trimesh.load(io.BytesIO(report.glb_bytes(roof, solid)), file_type="glb")
    assert area_of(scene, roof) == pytest.approx(roof.area.value, rel=1e-6)
    read = trimesh.load(io.BytesIO(report.obj_bytes(roof, solid)), file_type="obj", force="mesh")
    assert read.area == pytest.approx(roof.area.value, rel=1e-6)


def test_colours_are_linear_light_and_go_by_pitch():
    """Oracle: two planes of one pitch have one colour; a steeper one is darker (sRGB luminance)."""

    def luminance(name):
        materials = glb_tree(report.glb_bytes(*made(name)))["materials"]
        planes = [m for m in materials if m["name"] != "walls"]
        colours = {tuple(m["pbrMetallicRoughness"]["baseColorFactor"]) for m in planes}
        assert len(colours) == 1
        red, green, blue, alpha = colours.pop()
        assert alpha == 1
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    assert luminance("hip") < luminance("gable")
