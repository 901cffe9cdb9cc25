"""First hits of downward rays in a scene of flat facets.  Metres; z is up.

A ray is the points (g + s z, z): `g` is where it meets z = 0, `s` its slope against the vertical.  Going
down, the first hit is the one with the largest z.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass

import numpy as np
import shapely

from slopewright.scene import Array, Labels

from .fields import smooth_field
from .surroundings import CHIMNEY, GROUND, NEIGHBOUR, TREE, WALL, Box, Ground, Surroundings, Tree
from .truth import TrueRoof, TrueWall

DEEP_M = 6.0  # walls go on this far below the house's ground, for sloping ground


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Slab:
    """A facet that is a graph over the plan: z = a x + b y + c inside a polygon."""

    plane: tuple[float, float, float]
    polygon: shapely.Polygon  # prepared
    label: int

    def corners(self) -> Array:
        """Corners, shape (k, 3) [m]."""
        xy = shapely.get_coordinates(self.polygon)
        a, b, c = self.plane
        return np.column_stack([xy, a * xy[:, 0] + b * xy[:, 1] + c])

    def hit(self, g: Array, s: Array) -> Array:
        """Height of the hit [m] of each ray, -inf for a miss."""
        a, b, c = self.plane
        z = (a * g[:, 0] + b * g[:, 1] + c) / (1 - a * s[:, 0] - b * s[:, 1])
        inside = shapely.contains_xy(self.polygon, g[:, 0] + s[:, 0] * z, g[:, 1] + s[:, 1] * z)
        return np.where(inside, z, -np.inf)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Upright:
    """A vertical facet over a plan segment, between two straight lines."""

    start: Array  # (2,) [m]
    end: Array  # (2,) [m]
    foot: tuple[float, float]  # [m] at start and end
    top: tuple[float, float]  # [m]
    label: int

    def corners(self) -> Array:
        """Corners, shape (4, 3) [m]."""
        ends = (self.start, self.end, self.end, self.start)
        return np.array([[*p, z] for p, z in zip(ends, (*self.foot, *self.top[::-1]), strict=True)])

    def hit(self, g: Array, s: Array) -> Array:
        """Height of the hit [m] of each ray, -inf for a miss."""
        step = self.end - self.start
        normal = np.array([step[1], -step[0]])
        tilt = s @ normal
        with np.errstate(divide="ignore", invalid="ignore"):
            z = (self.start - g) @ normal / tilt
            share = ((g + s * z[:, None]) - self.start) @ step / (step @ step)
            inside = (share >= 0) & (share <= 1)
            inside &= z <= self.top[0] + share * (self.top[1] - self.top[0])
            inside &= z >= self.foot[0] + share * (self.foot[1] - self.foot[0])
        return np.where(inside, z, -np.inf)


Facet = Slab | Upright


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class World:
    """A roof in its surroundings, ready for rays."""

    facets: tuple[Facet, ...]
    trees: tuple[Tree, ...]
    ground: Ground


def world_of(roof: TrueRoof, surroundings: Surroundings) -> World:
    """Facets of everything in the scene."""
    facets = [*_house(roof, None)]
    for stack in roof.stacks:
        facets += _box(Box(**asdict(stack), label=CHIMNEY))
    for box in surroundings.boxes:
        facets += _box(box)
    for other in surroundings.neighbours:
        facets += _house(other, NEIGHBOUR)
    return World(facets=tuple(facets), trees=surroundings.trees, ground=surroundings.ground)


def first_hits(world: World, g: Array, s: Array) -> tuple[Array, Labels]:
    """Height [m] and label of what each ray meets first, trees left out.

    Parameters
    ----------
    g, s : array, shape (n, 2)
        The rays.
    """
    a, b, c = world.ground.plane()
    z = (a * g[:, 0] + b * g[:, 1] + c) / (1 - a * s[:, 0] - b * s[:, 1])
    label = np.full(len(g), GROUND, dtype=np.int32)
    if len(g) == 0:
        return z, label
    steepest = np.array([s.min(axis=0), s.max(axis=0)])
    for facet in world.facets:
        shadow = facet.corners()
        low = np.min([shadow[:, :2] - shadow[:, 2:] * t for t in steepest], axis=(0, 1))
        high = np.max([shadow[:, :2] - shadow[:, 2:] * t for t in steepest], axis=(0, 1))
        near = np.flatnonzero(
            (g[:, 0] >= low[0]) & (g[:, 0] <= high[0]) & (g[:, 1] >= low[1]) & (g[:, 1] <= high[1])
        )
        if len(near):
            height = facet.hit(g[near], s[near])
            better = height > z[near]
            z[near[better]] = height[better]
            label[near[better]] = facet.label
    return z, label


def through_trees(world: World, g: Array, s: Array, z: Array, label: Labels, depth_m: Array) -> None:
    """Let crowns stop rays, in place, `depth_m` (n,) inside the leaves; a shorter way goes through."""
    for tree in world.trees:
        centre = np.array(tree.centre)
        scale = np.array([tree.radius_m, tree.radius_m, tree.half_height_m])
        start = (np.column_stack([g, np.zeros(len(g))]) - centre) / scale
        way = np.column_stack([s, np.ones(len(s))]) / scale
        p, q, r = (way**2).sum(axis=1), (start * way).sum(axis=1), (start**2).sum(axis=1) - 1
        inside = q**2 - p * r
        root = np.sqrt(np.maximum(inside, 0)) / p
        entry, leave = -q / p + root, -q / p - root
        stop = entry - depth_m
        stopped = (inside > 0) & (stop > leave) & (stop > z)
        z[stopped] = stop[stopped]
        label[stopped] = TREE


def bump_ground(scene: World, xyz: Array, label: Labels, rng: np.random.Generator) -> None:
    """Make the ground rough, in place."""
    rows = label == GROUND
    ground = scene.ground
    if ground.rough_m > 0 and rows.any():
        bumps = smooth_field(xyz[rows, :2], rng, length_m=ground.rough_length_m)
        xyz[rows, 2] += ground.rough_m * bumps


def outlines(world: World) -> Iterator[Array]:
    """Corners of each facet in order, shape (k, 3) [m]."""
    for facet in world.facets:
        yield facet.corners()


def wall_facets(world: World) -> Sequence[Upright]:
    """Vertical facets."""
    return [facet for facet in world.facets if isinstance(facet, Upright)]


def _house(roof: TrueRoof, label: int | None) -> Iterator[Facet]:
    for k, plane in enumerate(roof.planes):
        n = plane.normal
        polygon = plane.plan
        shapely.prepare(polygon)
        coefficients = (-n[0] / n[2], -n[1] / n[2], plane.offset / n[2])
        yield Slab(plane=coefficients, polygon=polygon, label=k if label is None else label)
    for wall in roof.walls:
        yield _wall(wall, roof.ground_z_m - DEEP_M, WALL if label is None else label)


def _wall(wall: TrueWall, deep_m: float, label: int) -> Upright:
    foot = (deep_m, deep_m) if wall.foot_m is None else wall.foot_m
    return Upright(start=wall.start, end=wall.end, foot=foot, top=wall.top_m, label=label)


def _box(box: Box) -> Iterator[Facet]:
    corners = box.corners()
    polygon = shapely.Polygon(corners)
    shapely.prepare(polygon)
    yield Slab(plane=(0.0, 0.0, box.top_m), polygon=polygon, label=box.label)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        yield Upright(start=start, end=end, foot=(box.foot_m,) * 2, top=(box.top_m,) * 2, label=box.label)
