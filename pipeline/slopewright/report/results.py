"""All files of a run that follow from its roof and its quantities."""

from __future__ import annotations

from ..checks import Comparison, TapeCheck
from ..roof import Roof, RoofMesh, Takeoff
from .city_file import city_json
from .geojson_file import roof_geojson
from .geopackage_file import roof_geopackage
from .grid import Grid, grid_of
from .jsonfile import json_bytes
from .mesh_file import glb_bytes, obj_bytes
from .pdf import report_pdf
from .pictures import Picture
from .plan import plan_dxf, plan_svg
from .provenance import Provenance
from .takeoff_file import takeoff_json
from .takeoff_table import takeoff_csv


def run(
    roof: Roof,
    takeoff: Takeoff,
    mesh: RoofMesh,
    *,
    title: str = "",
    metric: bool = False,
    provenance: Provenance | None = None,
    tape: TapeCheck | None = None,
    comparison: Comparison | None = None,
    pictures: tuple[Picture, ...] = (),
) -> dict[str, bytes]:
    """The files that follow from roof.json: quantities, mesh, drawings and report.

    Parameters
    ----------
    roof : Roof
    takeoff : Takeoff
    mesh : RoofMesh
        Both of that roof.
    title : str
        The job's name, on the drawing and the report.
    metric : bool
        Units and paper of the drawing and the report; the other files do not depend on it.
    provenance : Provenance, optional
        What the report says of where it all came from.
    tape : TapeCheck, optional
        Tape measurements that the roof was held against.
    comparison : Comparison, optional
        Another party's quantities beside ours.
    pictures : tuple of Picture, optional
        What photos show of the roof.

    Returns
    -------
    dict of str to bytes
        By name; the same bytes for the same input.
    """
    plan = plan_svg(roof, title=title, metric=metric)
    grid = grid_of(roof.frame)
    return {
        **tables(takeoff),
        "roof.glb": glb_bytes(roof, mesh),
        "roof.obj": obj_bytes(roof, mesh),
        "roof.city.json": json_bytes(city_json(roof, mesh, grid, title=title)),
        "plan.svg": plan.encode("utf-8"),
        "plan.dxf": plan_dxf(roof, plan, metric=metric),
        "report.pdf": report_pdf(
            roof,
            takeoff,
            mesh,
            plan,
            title=title,
            metric=metric,
            provenance=provenance,
            tape=tape,
            comparison=comparison,
            shown=pictures,
        ),
        **({} if grid is None else _maps(roof, grid)),
    }


def tables(takeoff: Takeoff) -> dict[str, bytes]:
    """The quantities alone, without mesh, drawings and pages: what a batch of thousands can do without."""
    return {"takeoff.json": json_bytes(takeoff_json(takeoff)), "takeoff.csv": takeoff_csv(takeoff)}


def _maps(roof: Roof, grid: Grid) -> dict[str, bytes]:
    """The files for maps, where the grid is known."""
    places = roof_geojson(roof, grid)
    return {
        "roof.gpkg": roof_geopackage(roof, grid),
        **({} if places is None else {"roof.geojson": json_bytes(places)}),
    }
