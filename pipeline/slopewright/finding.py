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
from .units import METRES_PER_UNIT

TRIM = 0.5  # per cent of a roof's heights at each end that may be stray


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
    others = [_name(roof, scanned) for roof in scene.roofs if roof is not points]
    return FoundRoof(points=points, others=others, notices=scene.notices)


def _check_house_size(points: RoofPoints, scanned: Cloud) -> None:
    low_z, high_z = np.percentile(points.xyz[:, 2], [TRIM, 100 - TRIM])
    ground_z = low_z if points.ground_z_m is None else min(points.ground_z_m, low_z)
    dx, dy = np.ptp(points.footprint, axis=0)
    name = f"{scanned.name}: roof {points.id}"
    cloud.check_house_size((float(dx), float(dy)), float(high_z - ground_z), scanned.unit, name=name)


def _name(roof: RoofPoints, scanned: Cloud) -> dict[str, Any]:
    inside = shapely.Polygon(roof.footprint).representative_point()
    world = (np.array([inside.x, inside.y]) + scanned.origin[:2]) / METRES_PER_UNIT[scanned.unit]
    return {
        "id": roof.id,
        "plan_area_m2": round(roof.area_m2, 2),
        "at": [round(value, 2) for value in world.tolist()],
    }
