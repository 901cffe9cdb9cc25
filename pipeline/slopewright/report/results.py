"""All files of a run that follow from its roof and its quantities."""

from __future__ import annotations

from ..roof import Roof, RoofMesh, Takeoff
from .jsonfile import json_bytes
from .mesh_file import glb_bytes, obj_bytes
from .plan import plan_svg
from .takeoff_file import takeoff_json
from .takeoff_table import takeoff_csv


def run(
    roof: Roof, takeoff: Takeoff, mesh: RoofMesh, *, title: str = "", metric: bool = False
) -> dict[str, bytes]:
    """The files that follow from roof.json: quantities, mesh and drawing.

    Parameters
    ----------
    roof : Roof
    takeoff : Takeoff
    mesh : RoofMesh
        Both of that roof.
    title : str
        The job's name, on the drawing.
    metric : bool
        Units of the drawing; the other files do not depend on it.

    Returns
    -------
    dict of str to bytes
        By name; the same bytes for the same input.
    """
    return {
        "takeoff.json": json_bytes(takeoff_json(takeoff)),
        "takeoff.csv": takeoff_csv(takeoff),
        "roof.glb": glb_bytes(roof, mesh),
        "roof.obj": obj_bytes(roof, mesh),
        "plan.svg": plan_svg(roof, title=title, metric=metric).encode("utf-8"),
    }
