"""One roof of the results: how the job ended, and what was measured.  Metres and square metres."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
import shapely

from ..measurement import Measurement
from ..report import grid_of
from ..roof import Roof
from ..run import RunResult
from ..scene import EdgeKind
from ..units import squares_from_m2

DECIMALS = 4  # a tenth of a millimetre; roof.json has more
PLACE_DECIMALS = 3  # of outlines, in units of the grid


class Status(StrEnum):
    """How a job ended."""

    OK = "ok"  # measured and certified
    NOT_CERTIFIED = "not_certified"  # measured, but bounds too wide or too little seen
    REFUSED = "refused"  # what was given cannot be used
    FAILED = "failed"  # a failure of ours, or of the disk
    MEMORY = "memory"  # went beyond the limit
    TIMEOUT = "timeout"  # likewise
    CRASHED = "crashed"  # its process ended without an answer


MEASURED = frozenset({Status.OK, Status.NOT_CERTIFIED})
FINAL = MEASURED | {Status.REFUSED}  # the same input and program give the same again: not repeated


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What the results say of a roof.  The same inputs, options and version give the same row."""

    id: str
    status: Status
    reason: str = ""
    key: str = ""  # of inputs, options and program; "" where they could not be read
    values: dict[str, float] = field(default_factory=dict)  # by column
    warnings: tuple[str, ...] = ()  # codes
    crs: str | None = None  # of `outline`
    outline: str | None = None  # WKB, hexadecimal, in the grid's own unit

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "id": self.id,
            "status": str(self.status),
            "reason": self.reason,
            "key": self.key,
            "values": self.values,
            "warnings": list(self.warnings),
            "crs": self.crs,
            "outline": self.outline,
        }

    @staticmethod
    def from_json(content: dict[str, Any]) -> Row:
        """The row that `as_json` was made of.

        Raises
        ------
        TypeError, KeyError, ValueError, AttributeError
            If it is none.
        """
        changed = {"status": Status(content["status"]), "warnings": tuple(content["warnings"])}
        return Row(**{**content, **changed})


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
        **_bounds("area", "m2", roof.area),
        **_bounds("squares", "", squares),
        **_bounds("plan_area", "m2", roof.plan_area),
        **_bounds("main_rise_in_12", "", main.rise_in_12),
        "planes": float(len(roof.planes)),
        "observed": sum(p.observed * p.area.value for p in roof.planes) / roof.area.value,
    }
    for kind in EdgeKind:
        total = roof.edge_totals.get(kind)
        values |= _bounds(str(kind), "m", total or Measurement(0.0, 0.0, 0.0, 0.0))
    return {name: round(float(value), DECIMALS) + 0.0 for name, value in values.items()}


def _bounds(name: str, unit: str, measured: Measurement) -> dict[str, float]:
    end = f"_{unit}" if unit else ""
    return {
        f"{name}{end}": measured.value,
        f"{name}_low{end}": measured.low,
        f"{name}_high{end}": measured.high,
    }


def value_columns() -> tuple[str, ...]:
    """Names of the columns with numbers, in their order."""
    nothing = Measurement(0.0, 0.0, 0.0, 0.0)
    named = [("area", "m2"), ("squares", ""), ("plan_area", "m2"), ("main_rise_in_12", "")]
    kinds = [(str(kind), "m") for kind in EdgeKind]
    heads = [column for name, unit in named for column in _bounds(name, unit, nothing)]
    tails = [column for name, unit in kinds for column in _bounds(name, unit, nothing)]
    return (*heads, "planes", "observed", "footprint_m2", *tails)


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
