"""Which of the roofs is to be measured: at a position, in a footprint, or the largest near the middle."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

from ..errors import InputError
from ..scene import Array, Cloud, Notice, RoofPoints
from ..units import METRES_PER_UNIT
from .config import IsolateConfig

N_NAMED = 8  # roofs listed in a message
NEAR_SHARE = 0.15  # of the cloud's diagonal: a roof so far from the middle counts half its area ...
NEAR_LEAST_M = 15.0  # ... but no less than this


def at_position(
    cloud: Cloud, outlines: Sequence[shapely.Polygon], at: tuple[float, float], config: IsolateConfig
) -> int:
    """Index of the roof at a position, or nearest to it.

    Parameters
    ----------
    cloud : Cloud
        For names and world coordinates in messages.
    outlines : sequence of shapely.Polygon
        Outlines of all roofs [m].
    at : tuple
        Position in local coordinates [m].
    config : IsolateConfig

    Raises
    ------
    InputError
        If no outline lies within `config.at_reach_m`.
    """
    if not all(math.isfinite(value) for value in at):
        raise InputError(f"--at: {at[0]} {at[1]}, need two finite numbers")
    point = shapely.Point(at)
    distances = [outline.distance(point) for outline in outlines]
    nearest = int(np.argmin(distances))
    if distances[nearest] > config.at_reach_m:
        x, y = _world(cloud, np.asarray(at))
        order = np.argsort(distances, kind="stable")[:3]
        named = "; ".join(
            f"{_place(cloud, outlines[k])}, {distances[k] / METRES_PER_UNIT[cloud.unit]:.0f} {cloud.unit} off"
            for k in order
        )
        raise InputError(
            f"{cloud.name or 'cloud'}: --at {x:.2f} {y:.2f}: no roof within"
            f" {config.at_reach_m / METRES_PER_UNIT[cloud.unit]:.0f} {cloud.unit} of it;"
            f" the nearest are at {named}"
        )
    return nearest


def by_footprint(cloud: Cloud, outlines: Sequence[shapely.Polygon], footprint: shapely.Polygon) -> int:
    """Index of the roof that shares most area with the footprint.

    Raises
    ------
    InputError
        If none shares any.
    """
    shared = [outline.intersection(footprint).area for outline in outlines]
    if max(shared) <= 0:
        nearest = sorted(outlines, key=lambda outline: float(outline.distance(footprint)))[:3]
        x, y = _world(cloud, np.asarray(footprint.centroid.coords[0]))
        named = "; ".join(_place(cloud, outline) for outline in nearest)
        raise InputError(
            f"{cloud.name or 'cloud'}: --footprint around {x:.2f} {y:.2f}: no roof in it;"
            f" the nearest are at {named}. Is it in the coordinates of the cloud?"
        )
    return int(np.argmax(shared))


def near_middle(middle: Array, diagonal_m: float, roofs: Sequence[RoofPoints]) -> int:
    """Index of the roof with the largest area, weighted down with its distance from the middle."""
    half_m = max(NEAR_SHARE * diagonal_m, NEAR_LEAST_M)
    weights = [
        roof.area_m2 / (1 + shapely.Polygon(roof.footprint).distance(shapely.Point(middle)) ** 2 / half_m**2)
        for roof in roofs
    ]
    return int(np.argmax(weights))


def others_notice(cloud: Cloud, roofs: Sequence[RoofPoints], chosen: int, *, asked: bool) -> Notice:
    """Say which roofs were not chosen, where they are, and how to choose one of them."""
    others = [roof for k, roof in enumerate(roofs) if k != chosen]
    named = "; ".join(
        f"{roof.id} at {_place(cloud, shapely.Polygon(roof.footprint))}" for roof in others[:N_NAMED]
    )
    more = f"; and {len(others) - N_NAMED} more" if len(others) > N_NAMED else ""
    how = "as asked" if asked else "the largest near the middle"
    return Notice(
        code="other_roofs",
        text=f"{len(roofs)} roofs found, {roofs[chosen].id} measured ({how});"
        f" others: {named}{more}. Choose one with --at X Y",
        about=tuple(roof.id for roof in others),
    )


def _world(cloud: Cloud, xy: Array) -> Array:
    """Local metres as coordinates of the file."""
    world: Array = (cloud.origin[:2] + xy) / METRES_PER_UNIT[cloud.unit]
    return world


def _place(cloud: Cloud, outline: shapely.Polygon) -> str:
    """A point inside the outline as `--at` takes it, and the area."""
    x, y = _world(cloud, np.asarray(outline.representative_point().coords[0]))
    return f"{x:.2f} {y:.2f} ({outline.area:.0f} m²)"
