"""The row of a roof that was measured, from its run.  Metres and square metres."""

from __future__ import annotations

import numpy as np
import shapely

from ..measurement import Measurement
from ..report import grid_of
from ..roof import Roof
from ..run import RunResult
from ..scene import EdgeKind
from ..units import squares_from_m2
from .row import Row, Status, bounds

DECIMALS = 4  # a tenth of a millimetre; roof.json has more
PLACE_DECIMALS = 3  # of outlines, in units of the grid


def measured_row(identity: str, result: RunResult, footprint_m2: float | None) -> Row:
    """The row of a roof that was measured.

    Parameters
    ----------
    identity : str
    result : RunResult
    footprint_m2 : float or None
        Plan area [m²] that a map gives the building.
    """
    record, roof = result.record, result.roof
    values = _values(roof)
    if footprint_m2:
        values["footprint_m2"] = round(footprint_m2, DECIMALS)
    crs, outline = _place(roof)
    return Row(
        id=identity,
        status=Status.NOT_CERTIFIED if record.not_certified else Status.OK,
        reason="; ".join(record.not_certified),
        key=record.takeoff_key,
        values=values,
        warnings=tuple(sorted({warning["code"] for warning in record.warnings})),
        crs=crs,
        outline=outline,
    )


def _values(roof: Roof) -> dict[str, float]:
    main = max(roof.planes, key=lambda plane: plane.area.value)
    squares = Measurement(
        *(squares_from_m2(v) for v in (roof.area.value, roof.area.u, roof.area.low, roof.area.high))
    )
    values = {
        **bounds("area", "m2", roof.area),
        **bounds("squares", "", squares),
        **bounds("plan_area", "m2", roof.plan_area),
        **bounds("main_rise_in_12", "", main.rise_in_12),
        "planes": float(len(roof.planes)),
        "observed": sum(p.observed * p.area.value for p in roof.planes) / roof.area.value,
    }
    for kind in EdgeKind:
        total = roof.edge_totals.get(kind)
        values |= bounds(str(kind), "m", total or Measurement(0.0, 0.0, 0.0, 0.0))
    return {name: round(float(value), DECIMALS) + 0.0 for name, value in values.items()}


def _place(roof: Roof) -> tuple[str | None, str | None]:
    """The grid and the outline in it, of the faces in plan; None where no grid is known."""
    grid = grid_of(roof.frame)
    if grid is None:
        return None, None
    faces = []
    for plane in roof.planes:
        rings = [grid.coordinates(roof.ring(loop)[:, :2]) for loop in plane.loops]
        faces.append(shapely.make_valid(shapely.Polygon(rings[0], rings[1:])))
    outline = shapely.union_all(faces, grid_size=10**-PLACE_DECIMALS).normalize()
    if (
        not isinstance(outline, shapely.Polygon | shapely.MultiPolygon)
        or not np.isfinite(outline.bounds).all()
    ):
        return None, None
    return roof.frame.crs, shapely.to_wkb(outline, hex=True, byte_order=1)
