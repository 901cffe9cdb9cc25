"""What is not seen inside a roof: holes one sees through, what things cover, what has no points.  Metres."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from ..roof import Plane, Roof
from ..scene import Array, Notice, RoofPoints, Segmentation
from .face import over_plane

CELL_M = 0.3  # side of the cells that are looked at, or ...
CELL_SPACINGS = 1.5  # ... so many spacings
THROUGH_M = 0.3  # a point so far below a face shows that the face is not there
LEAST_M2, LEAST_SHARE = 1.5, 0.02  # holes of one or the other are told
TOLD_LEFT_OUT, MOST_LEFT_OUT = (
    0.015,
    0.08,
)  # of the plan: points above ground between the faces, on none of them


def not_seen(
    points: RoofPoints, segmentation: Segmentation, roof: Roof, plans: list[shapely.Geometry]
) -> tuple[Notice, ...]:
    """Tell how much of the measured area is inferred, and what stands between the faces and is not measured.

    Parameters
    ----------
    points : RoofPoints
    segmentation : Segmentation
    roof : Roof
    plans : list of shapely.Geometry
        The faces in plan, in the order of the planes.

    Returns
    -------
    tuple of Notice
        "holes" if one sees through faces; "left_out", or "some_left_out", if points well
        above the ground, enclosed by the faces, belong to none.
    """
    raster = _Raster(points, max(CELL_M, CELL_SPACINGS * segmentation.spacing_m))
    through_m2 = {
        plane.id: _through(plane, plan, points, segmentation, raster)
        for plane, plan in zip(roof.planes, plans, strict=True)
    }
    found = []
    holes_m2 = sum(through_m2.values())
    area_m2 = roof.area.value
    if holes_m2 > max(LEAST_M2, LEAST_SHARE * area_m2):
        found.append(
            Notice(
                code="holes",
                text=f"one sees through {holes_m2:.1f} m² of the roof; they are counted as roof:"
                f" {area_m2:.1f} m² with them, {area_m2 - holes_m2:.1f} m² without",
                about=tuple(name for name, m2 in through_m2.items() if m2 > LEAST_M2 / 2),
            )
        )
    left_m2 = _left_out(points, plans, raster)
    if left_m2 > TOLD_LEFT_OUT * roof.plan_area.value:
        much = left_m2 > MOST_LEFT_OUT * roof.plan_area.value
        found.append(
            Notice(
                code="left_out" if much else "some_left_out",
                text=f"{left_m2:.1f} m² of plan between the faces hold points well above the ground that lie"
                " on none of them: the roof is broken, covered or of other shape there",
            )
        )
    return tuple(found)


class _Raster:
    """Square cells over a roof's points."""

    def __init__(self, points: RoofPoints, cell_m: float) -> None:
        self.cell_m = cell_m
        self.corner = np.vstack([points.xyz[:, :2], points.footprint]).min(axis=0) - 2 * cell_m
        high = np.vstack([points.xyz[:, :2], points.footprint]).max(axis=0) + 2 * cell_m
        self.shape = tuple(np.ceil((high - self.corner) / cell_m).astype(int))
        x, y = (self.corner[k] + cell_m * (np.arange(self.shape[k]) + 0.5) for k in (0, 1))
        self.x, self.y = (grid.ravel() for grid in np.meshgrid(x, y, indexing="ij"))

    def filled(self, xy: Array) -> npt.NDArray[np.bool_]:
        """Cells that hold a point."""
        index = np.floor((xy - self.corner) / self.cell_m).astype(np.int64)
        inside = ((index >= 0) & (index < self.shape)).all(axis=1)
        mask = np.zeros(self.shape, dtype=bool)
        mask[index[inside, 0], index[inside, 1]] = True
        return mask

    def within(self, plan: shapely.Geometry) -> npt.NDArray[np.bool_]:
        """Cells whose middles lie in a polygon."""
        shapely.prepare(plan)
        inside: npt.NDArray[np.bool_] = shapely.contains_xy(plan, self.x, self.y).reshape(self.shape)
        return inside


def _through(
    plane: Plane, plan: shapely.Geometry, points: RoofPoints, segmentation: Segmentation, raster: _Raster
) -> float:
    """Area of a face beneath which something is seen and on which nothing is [m²]."""
    inside = raster.within(plan.buffer(-raster.cell_m / 2))
    if not inside.any():
        return 0.0
    over_m = over_plane(plane, points.xyz)
    on = np.abs(over_m) * plane.normal[2] < max(4 * segmentation.noise_m, THROUGH_M / 3)
    beside = ndimage.binary_closing(raster.filled(points.xyz[on, :2]), np.ones((3, 3), dtype=bool))
    below = np.vstack([points.xyz[over_m < -THROUGH_M], points.context])
    seen_below = raster.filled(below[:, :2])
    plan_m2 = float((inside & ~beside & seen_below).sum()) * raster.cell_m**2
    return plan_m2 / float(plane.normal[2])


def _left_out(points: RoofPoints, plans: list[shapely.Geometry], raster: _Raster) -> float:
    """Plan area with points that may be roof, enclosed by the faces and on none of them [m²]."""
    near = shapely.union_all([plan.buffer(raster.cell_m, join_style="mitre") for plan in plans])
    hull = near.convex_hull.buffer(-raster.cell_m)
    mask = raster.filled(points.xyz[:, :2]) & raster.within(hull) & ~raster.within(near)
    return float(mask.sum()) * raster.cell_m**2
