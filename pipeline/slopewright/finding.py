"""Which roof of a cloud is measured, whether it can be a house, and which others there are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from . import cloud, isolate
from .errors import NoRoofError
from .intent import Options
from .job.place import local_footprint, local_point
from .scene import Cloud, Notice, RoofPoints
from .units import FOOT_M, METRES_PER_UNIT

TRIM = 0.5  # per cent of a roof's heights at each end that may be stray
LARGE_SIDE_M, LARGE_HEIGHT_M = 26.0, 12.0  # a house in feet, read in metres, is larger than both


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundRoof:
    """The roof to measure."""

    points: RoofPoints
    others: list[dict[str, Any]]  # roofs not measured: id, plan area [m²] and a point that --at takes
    notices: tuple[Notice, ...]


def find_roof(scanned: Cloud, options: Options) -> FoundRoof:
    """Isolate the roofs of a cloud and choose the one that the options ask for.

    Raises
    ------
    InputError
        If --at or --footprint does not fit the cloud, or the roof's size can be no house.
    NoRoofError
        If there is no roof; the size of the cloud is told with it, since a wrong unit hides roofs.
    """
    at = local_point(options.at, scanned) if options.at else None
    footprint = local_footprint(options.footprint, scanned) if options.footprint else None
    try:
        scene = isolate.run(scanned, at=at, footprint=footprint)
    except NoRoofError as error:
        dx, dy, dz = np.ptp(scanned.xyz, axis=0)
        size = f"read in {scanned.unit}, the cloud is {dx:,.0f} x {dy:,.0f} x {dz:,.1f} m"
        raise NoRoofError(f"{error} ({size})") from error
    points = scene.roofs[scene.chosen]
    _check_house_size(points, scanned)
    notices = (*scene.notices, *_unit_doubt(points, scanned))
    others = [_name(roof, scanned) for roof in scene.roofs if roof is not points]
    return FoundRoof(points=points, others=others, notices=notices)


def _check_house_size(points: RoofPoints, scanned: Cloud) -> None:
    (dx, dy), height_m = _size(points)
    name = f"{scanned.name}: roof {points.id}"
    cloud.check_house_size((dx, dy), height_m, scanned.unit, name=name)


def _unit_doubt(points: RoofPoints, scanned: Cloud) -> tuple[Notice, ...]:
    """Say that a large and tall roof would be a house in feet: nothing but a CRS proves the unit."""
    (dx, dy), height_m = _size(points)
    if scanned.crs or scanned.unit != "m" or max(dx, dy) < LARGE_SIDE_M or height_m < LARGE_HEIGHT_M:
        return ()
    text = (
        f"the roof is {dx:.0f} x {dy:.0f} m and {height_m:.0f} m high, large for a house: if the cloud is in"
        f" feet it is {dx * FOOT_M:.0f} x {dy * FOOT_M:.0f} m, give --unit ft"
    )
    return (Notice(code="unit_doubtful", text=text, about=(points.id,)),)


def _size(points: RoofPoints) -> tuple[tuple[float, float], float]:
    """Sides in plan, and height over the ground or over its own lowest points [m]."""
    low_z, high_z = np.percentile(points.xyz[:, 2], [TRIM, 100 - TRIM])
    ground_z = low_z if points.ground_z_m is None else min(points.ground_z_m, low_z)
    dx, dy = np.ptp(points.footprint, axis=0)
    return (float(dx), float(dy)), float(high_z - ground_z)


def _name(roof: RoofPoints, scanned: Cloud) -> dict[str, Any]:
    inside = shapely.Polygon(roof.footprint).representative_point()
    world = (np.array([inside.x, inside.y]) + scanned.origin[:2]) / METRES_PER_UNIT[scanned.unit]
    return {
        "id": roof.id,
        "plan_area_m2": round(roof.area_m2, 2),
        "at": [round(value, 2) for value in world.tolist()],
    }
