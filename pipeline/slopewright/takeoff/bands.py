"""Bands of whole courses along eaves, cut where hips, valleys and rakes end them.  Metres, in plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from ..roof import Edge, Plane, Roof
from ..scene import Array, EdgeKind
from ..units import INCH_M
from .layers import EaveBandLayer, SteepRule
from .strips import whole
from .survey import Survey, rise

LEVEL_SINE = 1e-6  # a plane flatter than this has no upslope: the band lies on the side where the plane is
N_WIDTHS = 9  # at which the area of a band is computed; between two of them it is nearly straight
SAME_WIDTH_M = 1e-6
AT_EAVE_M = 1e-3  # a piece of plane within a millimetre of the eave touches it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaneBand:
    """The band on one plane."""

    plane: Plane
    eaves: tuple[Edge, ...]
    net_m2: float  # at the best values, on the slope
    net_draws_m2: Array  # (n,)
    used_m2: Array  # (n,) of sheet: each course as wide as it comes, as long as the plane is where it lies
    courses: int  # at the best values


def plane_bands(layer: EaveBandLayer, survey: Survey, planes: Sequence[Plane]) -> tuple[PlaneBand, ...]:
    """The band of each plane that has eaves.

    Parameters
    ----------
    layer : EaveBandLayer
        Widths, lap and the edition's rule for steep slopes.
    survey : Survey
        With the overhang [m] of the job, or shares of the layer's range where the job gives none.
    planes : sequence of Plane
        In scope.

    Returns
    -------
    tuple of PlaneBand
    """
    found = []
    for plane in planes:
        eaves = tuple(e for e in survey.roof.edges if e.kind is EdgeKind.EAVE and plane.id in e.planes)
        if eaves:
            found.append(_band(layer, survey, plane, eaves))
    return tuple(found)


def overhang_m(layer: EaveBandLayer, survey: Survey) -> tuple[float, Array]:
    """The overhang at its best value and draw by draw: the job's, or the layer's range."""
    given = survey.request.site.overhang_m
    if given is not None:
        return given, np.full(survey.n_draws, given)
    low, high = (inches * INCH_M for inches in layer.overhang_range_in)
    return (low + high) / 2, low + survey.overhang_share * (high - low)


def steep_rule(layer: EaveBandLayer, edition: str) -> SteepRule | None:
    """What the edition asks on steep slopes."""
    entry = layer.steep[edition]
    return None if entry == "none" else entry


def _band(layer: EaveBandLayer, survey: Survey, plane: Plane, eaves: tuple[Edge, ...]) -> PlaneBand:
    steep = steep_rule(layer, survey.system.edition)
    least_m = steep.width_in * INCH_M if steep and rise(plane) >= steep.rise_from else 0.0
    inside_m = layer.inside_wall_in * INCH_M
    best_overhang_m, overhangs_m = overhang_m(layer, survey)
    factor = plane.area.value / plane.plan_area.value
    factors = survey.slope_factor(plane)
    best_m = max((best_overhang_m + inside_m) * factor, least_m)
    widths_m = np.maximum((overhangs_m + inside_m) * factors, least_m)

    shape = _plan_shape(survey.roof, plane)
    along, up = _directions(survey.roof, plane, eaves[0], shape)

    def between(low_m: float, high_m: float) -> shapely.Geometry:
        """What lies so far up the slope from an eave."""
        parts = [_strip(shape, survey.roof, eave, up, low_m / factor, high_m / factor) for eave in eaves]
        return shapely.union_all(parts)

    length = sum(eave.length.value for eave in eaves)
    length_share = survey.draws.combine({f"length:{eave.id}": 1 / length for eave in eaves})
    grid_m = np.unique(np.append(np.linspace(widths_m.min(), widths_m.max(), N_WIDTHS), best_m))
    grid_m = grid_m[np.append(True, np.diff(grid_m) > SAME_WIDTH_M)]
    areas_m2 = np.array([between(0.0, width).area * factor for width in grid_m])

    course_m, sheet_m = (layer.course_width_in - layer.course_lap_in) * INCH_M, layer.course_width_in * INCH_M
    courses = whole(widths_m / course_m).astype(int)
    best_courses = int(whole(np.array(best_m / course_m)))
    lengths_m = [
        _extent(between(k * course_m, k * course_m + sheet_m), along)
        for k in range(max(int(courses.max(initial=0)), best_courses))
    ]
    used_m2 = np.concatenate([[0.0], np.cumsum(lengths_m)]) * sheet_m
    return PlaneBand(
        plane=plane,
        eaves=eaves,
        net_m2=float(np.interp(best_m, grid_m, areas_m2)),
        net_draws_m2=np.interp(widths_m, grid_m, areas_m2) * length_share,
        used_m2=used_m2[courses] * length_share,
        courses=best_courses,
    )


def _plan_shape(roof: Roof, plane: Plane) -> shapely.Geometry:
    outer, *holes = (roof.ring(loop)[:, :2] for loop in plane.loops)
    return shapely.make_valid(shapely.Polygon(outer, holes))


def _directions(roof: Roof, plane: Plane, eave: Edge, shape: shapely.Geometry) -> tuple[Array, Array]:
    """Along the contour and up the slope, both level; of a level plane along its eave and into the plane."""
    horizontal = float(np.hypot(plane.normal[0], plane.normal[1]))
    if horizontal > LEVEL_SINE:
        up = -plane.normal[:2] / horizontal
    else:
        start, end = roof.vertices[eave.start, :2], roof.vertices[eave.end, :2]
        side = (end - start) / np.linalg.norm(end - start)
        up = np.array([-side[1], side[0]])
        inside = shapely.Point((start + end) / 2 + AT_EAVE_M * up)
        up = up if shape.contains(inside) else -up
    return np.array([up[1], -up[0]]), up


def _strip(
    shape: shapely.Geometry, roof: Roof, eave: Edge, up: Array, low_m: float, high_m: float
) -> shapely.Geometry:
    """The part of a plane between two distances from an eave in plan, as far sideways as it is wide.

    Beside a valley the plane goes on past the end of its eave; what lies there within the width counts.
    """
    start, end = roof.vertices[eave.start, :2], roof.vertices[eave.end, :2]
    side = (end - start) / np.linalg.norm(end - start) * high_m
    corners = [start - side, end + side]
    reach = shapely.Polygon([corners[0], corners[1], corners[1] + high_m * up, corners[0] + high_m * up])
    line = shapely.LineString([start, end]).buffer(AT_EAVE_M)
    near = [part for part in shapely.get_parts(shape.intersection(reach)) if part.intersects(line)]
    band = shapely.union_all(near)
    if low_m <= 0:
        return band
    below = [corners[0] - up, corners[1] - up, corners[1] + low_m * up, corners[0] + low_m * up]
    return band.difference(shapely.Polygon(below))


def _extent(shape: shapely.Geometry, along: Array) -> float:
    """Length along the eave of each part of a course, together."""
    total = 0.0
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon" and part.area > 0:
            total += float(np.ptp(shapely.get_coordinates(part) @ along))
    return total
