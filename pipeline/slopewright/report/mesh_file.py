"""The mesh as files: roof.glb to look at, roof.obj to work with.

References
----------
.. [1] Khronos Group, glTF 2.0 Specification (ISO/IEC 12113:2022), 3.4: metres,
   right-handed, +Y up, +Z forward.
"""

from __future__ import annotations

from collections.abc import Container
from importlib import import_module
from typing import Any

import numpy as np

from ..roof import Plane, Roof, RoofMesh
from ..scene import Array
from .colour import linear_rgb
from .jsonfile import rounded
from .text import plain_text

YUP_FROM_ZUP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])  # grid north is -Z
WALL_GREY = (0.8, 0.8, 0.78)  # linear light
WALLS_NOTE = "below the edges of the roof; real walls were not measured"
NOTE = "metres; x east, y up, z south; in the world east, north, up are origin + (x, -z, y)"


def glb_bytes(roof: Roof, mesh: RoofMesh) -> bytes:
    """roof.glb: a node a plane, named by its id and coloured by its pitch, and one for the walls.

    Parameters
    ----------
    roof : Roof
    mesh : RoofMesh
        Of that roof.

    Returns
    -------
    bytes
        Binary glTF 2.0.  Coordinates are local, turned to y up; the origin stands in `asset.extras`, and each
        node's `extras` hold its plane's numbers.
    """
    trimesh: Any = import_module("trimesh")  # half a second: only where a mesh is written; not all typed

    planes = {plane.id: plane for plane in roof.planes}
    base, walls = (_free_name(name, planes) for name in ("roof", "walls"))
    scene = trimesh.Scene(base_frame=base)
    for node in mesh.nodes:
        plane = planes[node.plane]
        rows, triangles = np.unique(node.triangles, return_inverse=True)
        solid = trimesh.Trimesh(
            vertices=mesh.vertices[rows] @ YUP_FROM_ZUP.T,
            faces=triangles.reshape(-1, 3),
            vertex_normals=np.tile(plane.normal @ YUP_FROM_ZUP.T, (len(rows), 1)),
            process=False,
        )
        solid.visual = trimesh.visual.TextureVisuals(
            material=trimesh.visual.material.PBRMaterial(name=node.plane)
        )
        scene.add_geometry(solid, node_name=node.plane, geom_name=node.plane, metadata=_numbers(plane))
    if len(mesh.body.wall_triangles):
        corners = mesh.body.vertices[mesh.body.wall_triangles] @ YUP_FROM_ZUP.T
        solid = trimesh.Trimesh(
            vertices=corners.reshape(-1, 3), faces=np.arange(3 * len(corners)).reshape(-1, 3), process=False
        )
        solid.visual = trimesh.visual.TextureVisuals(material=trimesh.visual.material.PBRMaterial(name=walls))
        scene.add_geometry(solid, node_name=walls, geom_name=walls, metadata={"note": WALLS_NOTE})

    def finish(tree: dict[str, Any]) -> None:
        origin = [rounded(c) for c in roof.frame.origin]
        extras = {"origin": origin, "crs": roof.frame.crs, "note": NOTE}
        tree["asset"] = {"version": "2.0", "generator": "slopewright", "extras": extras}
        for material in tree["materials"]:
            plane = planes.get(material["name"])
            colour = WALL_GREY if plane is None else linear_rgb(plane.pitch_deg.value)
            material["pbrMetallicRoughness"] = {
                "baseColorFactor": [*(rounded(c) for c in colour), 1.0],
                "metallicFactor": 0.0,
                "roughnessFactor": 0.9,
            }
            material["doubleSided"] = True

    data = trimesh.exchange.gltf.export_glb(
        scene, include_normals=True, unitize_normals=True, tree_postprocessor=finish
    )
    return bytes(data)


def _free_name(name: str, taken: Container[str]) -> str:
    """A name that no plane has: names of nodes are unique."""
    while name in taken:
        name += "_"
    return name


def _numbers(plane: Plane) -> dict[str, float]:
    return {
        "area_m2": rounded(plane.area.value),
        "pitch_deg": rounded(plane.pitch_deg.value),
        "rise_in_12": rounded(plane.rise_in_12.value),
        "azimuth_deg": rounded(plane.azimuth_deg.value),
    }


def obj_bytes(roof: Roof, mesh: RoofMesh) -> bytes:
    """roof.obj: an object a plane, on one list of corners, so that faces stay joined along their creases.

    Parameters
    ----------
    roof : Roof
    mesh : RoofMesh
        Of that roof.

    Returns
    -------
    bytes
        Wavefront OBJ: local metres, z up, six decimals; the origin is a comment.
    """
    origin = " ".join(f"{c:.6f}" for c in roof.frame.origin)
    crs = plain_text(roof.frame.crs or "not known")
    lines = [
        "# slopewright roof; metres, z up; one object a plane",
        f"# origin {origin}",
        f"# crs {crs}",
        *(f"v {_coordinates(vertex)}" for vertex in mesh.vertices),
    ]
    for node in mesh.nodes:
        lines.append(f"o {plain_text(node.plane)}")
        lines.extend("f " + " ".join(str(row + 1) for row in triangle) for triangle in node.triangles)
    return ("\n".join(lines) + "\n").encode("utf-8")


def _coordinates(vertex: Array) -> str:
    return " ".join(f"{rounded(c):.6f}" for c in vertex)
