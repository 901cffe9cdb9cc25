"""A roof's courses as data: every piece with where it lies and which module it was cut from.  Metres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from ...roof import Plane, Roof
from ...scene import Array
from .cells import ROUNDING_M, ROUNDING_M2, Cells, cut_courses
from .pattern import Pattern
from .reuse import Cutting, Policy, cut_pieces
from .shape import Shape, true_shape

FORMAT = "slopewright-courses"
VERSION = 1
DIGITS = 4  # a tenth of a millimetre


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaneCourses:
    """The courses of one plane."""

    shape: Shape
    cells: Cells
    pattern: Pattern

    @property
    def n_pieces(self) -> int:
        """Pieces laid, whole and cut: as many modules without any reuse of offcuts."""
        return len(self.cells.course)

    @property
    def n_courses(self) -> int:
        """Courses from the lowest corner to the highest."""
        return int(self.cells.course.max(initial=-1)) + 1

    @property
    def whole(self) -> Array:
        """Which pieces are modules as they come, shape (n,) of 0 or 1."""
        uncut = self.pattern.module_m2 - self.cells.laid_m2 < ROUNDING_M * self.pattern.height_m
        return uncut.astype(np.float64)

    @property
    def n_cut(self) -> int:
        """Pieces that are cut."""
        return self.n_pieces - int(self.whole.sum())

    @property
    def lap_m2(self) -> float:
        """Of heads under other courses, within the plane."""
        return float((self.cells.laid_m2 - self.cells.face_m2).sum())

    @property
    def overhang_m2(self) -> float:
        """What courses cover beyond the plane's edges; below 0 where they stop short of them."""
        return self.shape.covered_m2 - self.shape.area_m2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoofCourses:
    """The courses of all planes, and what they are cut from under each policy."""

    pattern: Pattern
    planes: tuple[PlaneCourses, ...]
    cuttings: tuple[Cutting, ...]

    def modules(self, policy: Policy) -> int:
        """Modules taken under a policy."""
        return next(cutting.modules for cutting in self.cuttings if cutting.policy is policy)

    @property
    def area_m2(self) -> float:
        """Of the planes."""
        return sum(plane.shape.area_m2 for plane in self.planes)

    def waste_m2(self, policy: Policy) -> float:
        """Faces of the modules taken, beyond the area of the planes.

        Of modules with their heads, `modules * module_m2` is area + overhang + laps + cut waste, exactly.
        """
        return self.modules(policy) * self.pattern.face_m2 - self.area_m2


def lay_plane(shape: Shape, pattern: Pattern) -> PlaneCourses:
    """Lay the courses of one plane from its true shape."""
    return PlaneCourses(shape=shape, cells=cut_courses(shape.covered, pattern), pattern=pattern)


def lay_shapes(
    shapes: Sequence[Shape], pattern: Pattern, policies: Sequence[Policy] = tuple(Policy)
) -> RoofCourses:
    """Lay the courses of planes given by their true shapes, and cut them under each policy."""
    planes = tuple(lay_plane(shape, pattern) for shape in shapes)
    cells = [plane.cells for plane in planes]
    cuttings = tuple(cut_pieces(cells, pattern, policy) for policy in policies)
    return RoofCourses(pattern=pattern, planes=planes, cuttings=cuttings)


def lay_roof(roof: Roof, planes: Sequence[Plane], pattern: Pattern) -> RoofCourses:
    """Lay the courses of a roof's planes.

    Parameters
    ----------
    roof : Roof
        With corners [m]; the kinds of its edges say how far courses go past them.
    planes : sequence of Plane
        Those that are shingled.
    pattern : Pattern
        Of the system, from `make_pattern`.

    Returns
    -------
    RoofCourses
        With all policies.
    """
    return lay_shapes([true_shape(roof, plane, pattern) for plane in planes], pattern)


def outlines(plane: PlaneCourses) -> list[Array]:
    """The cut outline of each piece as laid, face and head, shape (k, 2) [m], open rings.

    A piece that a hole cuts in two, or goes round a hole, is given by its hull's outer ring only where it is
    one part; of several parts the one that shows most is given.
    """
    covered = shapely.Polygon(plane.shape.covered[0], plane.shape.covered[1:])
    cells, pattern = plane.cells, plane.pattern
    base = covered.bounds[1]
    butt = base + cells.course * pattern.exposure_m
    boxes = shapely.box(cells.start_m, butt, cells.end_m, butt + pattern.height_m)
    cut = plane.whole == 0
    shapely.prepare(covered)
    parts = boxes.copy()
    parts[cut] = shapely.intersection(boxes[cut], covered)
    rings = []
    for part in parts:
        pieces = [p for p in shapely.get_parts(part) if p.geom_type == "Polygon" and p.area > ROUNDING_M2]
        biggest = max(pieces, key=lambda p: float(p.area)) if pieces else shapely.Polygon()
        rings.append(np.asarray(shapely.get_coordinates(biggest.exterior))[:-1])
    return rings


def as_json(courses: RoofCourses) -> dict[str, Any]:
    """The layout as an object for a file, replayable piece by piece.

    Returns
    -------
    dict
        Lengths in metres.  Each plane has `origin`, `u` and `v` (its axes in the roof's coordinates) and
        `pieces`: [course, start, end, outline or null for a whole module, [source module under each policy]].
    """
    pattern = courses.pattern
    planes = []
    for i, plane in enumerate(courses.planes):
        cells, whole = plane.cells, plane.whole
        sources = np.column_stack([cutting.source[i] for cutting in courses.cuttings])
        pieces = [
            [
                int(cells.course[j]),
                round(float(cells.start_m[j]), DIGITS),
                round(float(cells.end_m[j]), DIGITS),
                None if whole[j] else np.round(ring, DIGITS).tolist(),
                sources[j].tolist(),
            ]
            for j, ring in enumerate(outlines(plane))
        ]
        planes.append(
            {
                "plane": plane.shape.plane,
                "origin": plane.shape.origin.tolist(),
                "u": plane.shape.axes[:, 0].tolist(),
                "v": plane.shape.axes[:, 1].tolist(),
                "area_m2": plane.shape.area_m2,
                "overhang_m2": plane.overhang_m2,
                "lap_m2": plane.lap_m2,
                "courses": plane.n_courses,
                "cut": plane.n_cut,
                "kept_slivers": cells.kept_slivers,
                "pieces": pieces,
            }
        )
    return {
        "format": FORMAT,
        "version": VERSION,
        "unit": "m",
        "module": {"width": pattern.width_m, "height": pattern.height_m, "exposure": pattern.exposure_m},
        "policies": [str(cutting.policy) for cutting in courses.cuttings],
        "modules": [cutting.modules for cutting in courses.cuttings],
        "waste_m2": [courses.waste_m2(cutting.policy) for cutting in courses.cuttings],
        "planes": planes,
    }
