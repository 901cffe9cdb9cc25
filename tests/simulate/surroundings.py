"""What stands around and on a roof: ground, trees, chimneys, pipes, cars, neighbours.  Metres; z is up."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import shapely

from slopewright.scene import Array

from .draw import random_roof
from .truth import TrueRoof, move

GROUND, WALL, TREE, CHIMNEY, NEIGHBOUR, CAR = -1, -2, -3, -4, -5, -6  # labels of points off the roof


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """A plane through a point, with gentle bumps."""

    point: tuple[float, float, float] = (0.0, 0.0, 0.0)  # [m]
    slope: tuple[float, float] = (0.0, 0.0)  # dz/dx, dz/dy
    rough_m: float = 0.03  # standard deviation of the bumps
    rough_length_m: float = 2.0

    def plane(self) -> tuple[float, float, float]:
        """Coefficients of z = a x + b y + c."""
        a, b = self.slope
        return (a, b, self.point[2] - a * self.point[0] - b * self.point[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Tree:
    """An ellipsoidal crown."""

    centre: tuple[float, float, float]  # [m]
    radius_m: float
    half_height_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """An upright box: a chimney, a pipe, half a car."""

    centre: tuple[float, float]  # [m]
    size: tuple[float, float]  # [m]
    turn_rad: float
    foot_m: float
    top_m: float
    label: int

    def corners(self) -> Array:
        """Plan corners, shape (4, 2) [m], counter-clockwise."""
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(self.size) / 2
        return half @ np.array([[c, s], [-s, c]]) + np.array(self.centre)


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """Everything in the scene but the roof and its walls."""

    ground: Ground = field(default_factory=Ground)
    trees: tuple[Tree, ...] = ()
    boxes: tuple[Box, ...] = ()
    neighbours: tuple[TrueRoof, ...] = ()


def bare(roof: TrueRoof) -> Surroundings:
    """Level, nearly smooth ground and nothing on it."""
    return Surroundings(ground=Ground(point=(0.0, 0.0, roof.ground_z_m)))


def draw_surroundings(
    roof: TrueRoof,
    rng: np.random.Generator,
    *,
    trees: int = 2,
    tree_over_corner: bool = False,
    chimneys: int = 1,
    pipes: int = 2,
    cars: int = 1,
    neighbours: int = 1,
    ground_slope: float = 0.0,
    ground_rough_m: float = 0.03,
) -> Surroundings:
    """Draw a scene around a roof; `ground_slope` is a tangent, its direction is drawn."""
    outline = roof.footprint
    centre = outline.centroid
    bearing = float(rng.uniform(0, 2 * math.pi))
    ground = Ground(
        point=(centre.x, centre.y, roof.ground_z_m),
        slope=(ground_slope * math.cos(bearing), ground_slope * math.sin(bearing)),
        rough_m=ground_rough_m,
    )
    houses: list[TrueRoof] = []
    taken = outline
    for _ in range(neighbours):
        other = random_roof(str(rng.choice(["gable", "hip"])), rng)
        other = _beside(other, taken, ground, rng, gap_m=float(rng.uniform(4, 8)))
        houses.append(other)
        taken = taken.union(other.footprint)
    crowns = [_corner_tree(roof, rng)] if tree_over_corner else []
    crowns += [_tree(outline, ground, rng) for _ in range(trees)]
    boxes = [_chimney(roof, rng) for _ in range(chimneys)] + [_pipe(roof, rng) for _ in range(pipes)]
    for _ in range(cars):
        boxes += _car(outline, taken, ground, rng)
    return Surroundings(ground=ground, trees=tuple(crowns), boxes=tuple(boxes), neighbours=tuple(houses))


def ground_at(ground: Ground, x: float, y: float) -> float:
    """Height of the ground [m], bumps left out."""
    a, b, c = ground.plane()
    return a * x + b * y + c


def _around(outline: shapely.Geometry, distance_m: float, rng: np.random.Generator) -> shapely.Point:
    """A random spot at a distance from a house."""
    line = outline.convex_hull.buffer(distance_m).exterior
    return line.interpolate(float(rng.uniform(0, line.length)))


def _beside(
    other: TrueRoof, taken: shapely.Geometry, ground: Ground, rng: np.random.Generator, *, gap_m: float
) -> TrueRoof:
    bearing = float(rng.uniform(0, 2 * math.pi))
    way = np.array([math.cos(bearing), math.sin(bearing)])
    start = np.array(taken.convex_hull.centroid.coords[0])
    distance = 0.0
    while shapely.affinity.translate(other.footprint, *(start + distance * way)).distance(taken) < gap_m:
        distance += 0.5
    x, y = start + distance * way
    return move(other, 0.0, (x, y, ground_at(ground, x, y)))


def _tree(outline: shapely.Geometry, ground: Ground, rng: np.random.Generator) -> Tree:
    radius, half = float(rng.uniform(1.2, 2.8)), float(rng.uniform(1.5, 3.5))
    spot = _around(outline, radius + float(rng.uniform(0.3, 2.5)), rng)
    z = ground_at(ground, spot.x, spot.y) + half + float(rng.uniform(0.3, 2.0))
    return Tree(centre=(spot.x, spot.y, z), radius_m=radius, half_height_m=half)


def _corner_tree(roof: TrueRoof, rng: np.random.Generator) -> Tree:
    """A crown that covers a corner of the roof."""
    corners = np.vstack([plane.outer for plane in roof.planes])
    hull = shapely.MultiPoint(corners[:, :2]).convex_hull
    on_hull = corners[[hull.exterior.distance(shapely.Point(p)) < 1e-3 for p in corners]]
    x, y, z = on_hull[np.argmin(on_hull[:, 2] + rng.uniform(0, 0.2, len(on_hull)))]
    radius, half = float(rng.uniform(1.3, 2.2)), float(rng.uniform(1.5, 2.5))
    out = np.array([x, y]) - np.array(hull.centroid.coords[0])
    spot = np.array([x, y]) + 0.6 * radius * out / np.hypot(*out)
    return Tree(centre=(float(spot[0]), float(spot[1]), float(z + 0.6)), radius_m=radius, half_height_m=half)


def _spot_on(roof: TrueRoof, inset_m: float, rng: np.random.Generator) -> tuple[float, float, int]:
    """A random place on the roof, at least `inset_m` from the edge of its face if the face is that wide."""
    shares = np.array([plane.plan_area_m2 for plane in roof.planes])
    k = int(rng.choice(len(shares), p=shares / shares.sum()))
    plan = roof.planes[k].plan
    region = plan.buffer(-inset_m)
    while region.is_empty:
        inset_m /= 2
        region = plan.buffer(-inset_m)
    x0, y0, x1, y1 = region.bounds
    while True:
        x, y = float(rng.uniform(x0, x1)), float(rng.uniform(y0, y1))
        if region.contains(shapely.Point(x, y)):
            return x, y, k


def _chimney(roof: TrueRoof, rng: np.random.Generator) -> Box:
    x, y, k = _spot_on(roof, 0.8, rng)
    z = float(roof.planes[k].height(np.array([[x, y]]))[0])
    return Box(
        centre=(x, y),
        size=(float(rng.uniform(0.5, 0.7)), float(rng.uniform(0.6, 1.1))),
        turn_rad=roof.planes[k].azimuth_rad * -1.0,
        foot_m=z - 2.0,
        top_m=z + float(rng.uniform(0.8, 1.5)),
        label=CHIMNEY,
    )


def _pipe(roof: TrueRoof, rng: np.random.Generator) -> Box:
    x, y, k = _spot_on(roof, 0.4, rng)
    z = float(roof.planes[k].height(np.array([[x, y]]))[0])
    width = float(rng.uniform(0.08, 0.15))
    top = z + float(rng.uniform(0.25, 0.5))
    return Box(centre=(x, y), size=(width, width), turn_rad=0.0, foot_m=z - 0.5, top_m=top, label=CHIMNEY)


def _car(
    outline: shapely.Geometry, taken: shapely.Geometry, ground: Ground, rng: np.random.Generator
) -> list[Box]:
    """A car near the house and clear of all houses; the last spot tried if there is no room."""
    for _ in range(20):
        spot = _around(outline, float(rng.uniform(3.0, 4.5)), rng)
        if spot.distance(taken) > 2.6:
            break
    z = ground_at(ground, spot.x, spot.y)
    turn = float(rng.uniform(0, math.pi))
    body = Box(
        centre=(spot.x, spot.y), size=(4.4, 1.8), turn_rad=turn, foot_m=z - 0.5, top_m=z + 0.9, label=CAR
    )
    cabin = Box(centre=(spot.x, spot.y), size=(2.3, 1.6), turn_rad=turn, foot_m=z, top_m=z + 1.45, label=CAR)
    return [body, cabin]
