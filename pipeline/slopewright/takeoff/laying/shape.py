"""The true shape of a plane, as one who stands before its eave sees it.  Metres; u right, v up the slope."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from ...roof import Plane, Roof, RoofObject
from ...scene import Array, EdgeKind, lock
from .pattern import Pattern

LEVEL_SINE = 1e-6  # a plane flatter than this has no upslope; u is then the grid's east
LEVEL_COS = np.cos(np.deg2rad(3.0))  # an eave that runs further off the contour is no line to lay along
OPENINGS = frozenset({"chimney", "skylight"})  # courses end at them; pipes and vents go through a shingle
LEAST_OPENING_M = 0.2  # a smaller one is lost in a shingle
CORNER_SINE = 0.1  # sides that bend less, or fold back, are moved apart and joined by a step, not mitred


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """A plane's rings in its own coordinates, and the rings that courses cover."""

    plane: str
    rings: tuple[Array, ...]  # (k, 2) [m], outer first, v = 0 at the lowest corner
    covered: tuple[
        Array, ...
    ]  # moved past eaves, rakes, ... by `beyond_m`, with holes for chimneys and skylights
    axes: Array  # (3, 2) columns u, v in the roof's coordinates
    origin: Array  # (3,) where u = v = 0 [m]

    def __post_init__(self) -> None:
        lock(self.axes, self.origin, *self.rings, *self.covered)

    @property
    def area_m2(self) -> float:
        """Of the plane."""
        return rings_area(self.rings)

    @property
    def covered_m2(self) -> float:
        """Of what the courses cover."""
        return rings_area(self.covered)

    def in_space(self, points: Array) -> Array:
        """Points of the shape, shape (n, 2), in the roof's coordinates."""
        moved: Array = self.origin + points @ self.axes.T
        return moved


def true_shape(roof: Roof, plane: Plane, pattern: Pattern) -> Shape:
    """Turn a plane into its own coordinates and move its sides as far as courses go past them.

    Notes
    -----
    Where moving makes the rings cross themselves (a face narrower than what goes past its edges), nothing is
    moved: the courses then end at the plane's edges.
    """
    u = _along_courses(roof, plane)
    axes = np.column_stack([u, np.cross(plane.normal, u)])
    kinds = {frozenset((e.start, e.end)): e.kind for e in roof.edges if plane.id in e.planes}
    corners = [roof.ring(loop) @ axes for loop in plane.loops]
    lowest = corners[0][np.lexsort((corners[0][:, 0], corners[0][:, 1]))[0]]
    base = roof.vertices[plane.loops[0][0]]
    origin = base + axes @ (lowest - base @ axes)
    rings = tuple(ring - lowest for ring in corners)
    beyond: Mapping[EdgeKind | None, float] = dict(pattern.beyond_m)
    past = [
        np.array(
            [
                beyond.get(kinds.get(frozenset(side))) or 0.0
                for side in zip(loop, (*loop[1:], loop[0]), strict=True)
            ]
        )
        for loop in plane.loops
    ]
    covered = _moved(rings, past)
    openings = [_opening(thing, axes, origin) for thing in roof.objects if _is_opening(thing, plane)]
    covered = _with_openings(covered, openings)
    return Shape(plane=plane.id, rings=rings, covered=covered, axes=axes, origin=origin)


def _is_opening(thing: RoofObject, plane: Plane) -> bool:
    return thing.plane == plane.id and thing.kind in OPENINGS and min(thing.size) >= LEAST_OPENING_M


def _opening(thing: RoofObject, axes: Array, origin: Array) -> Array:
    """The ring of what courses are cut round, shape (4, 2), clockwise."""
    u, v = (np.array(thing.position) - origin) @ axes
    half_u, half_v = thing.size[0] / 2, thing.size[1] / 2
    corners = [
        (u - half_u, v - half_v),
        (u - half_u, v + half_v),
        (u + half_u, v + half_v),
        (u + half_u, v - half_v),
    ]
    return np.array(corners)


def _with_openings(covered: tuple[Array, ...], openings: Sequence[Array]) -> tuple[Array, ...]:
    """Rings with holes for the openings that lie wholly within them and clear of one another."""
    outline = shapely.Polygon(covered[0], covered[1:])
    kept = list(covered)
    for ring in openings:
        hole = shapely.Polygon(ring)
        if outline.contains_properly(hole):
            outline = outline.difference(hole)
            kept.append(ring)
    return tuple(kept)


def _along_courses(roof: Roof, plane: Plane) -> Array:
    """The way of the courses: along the plane's longest eave, as lines are snapped, or along its contour."""
    horizontal = float(np.hypot(plane.normal[0], plane.normal[1]))
    if horizontal < LEVEL_SINE:
        return np.array([1.0, 0.0, 0.0])
    contour = np.array([-plane.normal[1], plane.normal[0], 0.0]) / horizontal
    eaves = [e for e in roof.edges if e.kind is EdgeKind.EAVE and plane.id in e.planes]
    if eaves:
        longest = max(eaves, key=lambda e: e.length.value)
        way = roof.vertices[longest.end] - roof.vertices[longest.start]
        way = way - plane.normal * (way @ plane.normal)
        share = float(way @ contour) / float(np.linalg.norm(way))
        if abs(share) > LEVEL_COS:
            along: Array = way / np.linalg.norm(way) * np.sign(share)
            return along
    return contour


def scaled(shape: Shape, factor: float) -> Shape:
    """The shape with all lengths times `factor`, as far as it goes past its edges too."""
    return Shape(
        plane=shape.plane,
        rings=tuple(ring * factor for ring in shape.rings),
        covered=tuple(ring * factor for ring in shape.covered),
        axes=shape.axes,
        origin=shape.origin,
    )


def rings_area(rings: Sequence[Array]) -> float:
    """Area of an outer ring less its holes [m²], in either turn."""
    outer, *holes = (abs(signed_area(ring)) for ring in rings)
    return outer - sum(holes)


def signed_area(ring: Array) -> float:
    """Area of a ring, shape (k, 2), above 0 counter-clockwise."""
    x, y = (ring - ring[0]).T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def _moved(rings: tuple[Array, ...], past: Sequence[Array]) -> tuple[Array, ...]:
    if not any(each.any() for each in past):
        return rings
    moved = [
        _offset(ring, distance, outward=(signed_area(ring) > 0) == (i == 0))
        for i, (ring, distance) in enumerate(zip(rings, past, strict=True))
    ]
    good = shapely.Polygon(moved[0], moved[1:]).is_valid
    turned = any(signed_area(a) * signed_area(b) <= 0 for a, b in zip(moved, rings, strict=True))
    return tuple(moved) if good and not turned else rings


def _offset(ring: Array, distance: Array, *, outward: bool) -> Array:
    """Each side moved to its right (outward of a counter-clockwise ring) or left, corners mitred."""
    along = np.roll(ring, -1, axis=0) - ring
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    right = np.column_stack([along[:, 1], -along[:, 0]]) * (1.0 if outward else -1.0)
    shift = right * distance[:, None]
    corners = []
    for i, corner in enumerate(ring):
        before, after = along[i - 1], along[i]
        bend = before[0] * after[1] - before[1] * after[0]
        if abs(bend) < CORNER_SINE:
            corners += [corner + shift[i - 1], corner + shift[i]]
            continue
        gap = shift[i] - shift[i - 1]
        step = (gap[0] * after[1] - gap[1] * after[0]) / bend
        corners.append(corner + shift[i - 1] + step * before)
    return np.array(corners)
