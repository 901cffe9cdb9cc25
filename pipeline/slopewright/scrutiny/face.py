"""Faces of a measured roof in plan, and heights over them.  Metres."""

from __future__ import annotations

import shapely

from ..geometry.polygon import plan_area
from ..roof import Plane, Roof
from ..scene import Array

FOLD_SHARE = 1e-4  # of a face's plan: by so much an outline may cross itself, as slivers do after adjustment


def plans_of(roof: Roof) -> list[shapely.Geometry]:
    """Every face in plan, holes left out, in the order of the planes."""
    rings = [[roof.ring(loop)[:, :2] for loop in plane.loops] for plane in roof.planes]
    return [shapely.make_valid(shapely.Polygon(outer, holes)) for outer, *holes in rings]


def is_crossed(roof: Roof, plane: Plane, plan: shapely.Geometry) -> bool:
    """Whether outline and holes of a face cross: then its area in plan is not what they enclose."""
    outer, *holes = (roof.ring(loop) for loop in plane.loops)
    enclosed = plan_area(outer, holes)
    return not enclosed > 0 or abs(float(plan.area) - enclosed) > FOLD_SHARE * enclosed


def over_plane(plane: Plane, xyz: Array) -> Array:
    """How far points lie above a plane, measured upright [m], shape (n,)."""
    height: Array = xyz[:, 2] - (plane.offset - xyz[:, :2] @ plane.normal[:2]) / plane.normal[2]
    return height
