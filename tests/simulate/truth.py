"""What a simulated roof really is: exact faces, edges and walls.  Metres, radians; z is up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from slopewright.scene import Array, EdgeKind, lock


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TruePlane:
    """One connected face as seen from above; coplanar faces that do not touch share `surface`."""

    normal: Array  # (3,) unit, z > 0
    offset: float  # normal . x = offset [m]
    outer: Array  # (k, 3) [m] open ring, counter-clockwise from above
    holes: tuple[Array, ...]  # each (k, 3) [m], open rings
    area_m2: float
    plan_area_m2: float
    hidden_m2: float  # more of it, out of sight under the overhang of a higher roof, up to the wall
    pitch_rad: float
    azimuth_rad: float  # downslope, clockwise from +y, 0 to 2 pi; 0 for a level face
    surface: int

    def __post_init__(self) -> None:
        lock(self.normal, self.outer, *self.holes)

    @property
    def plan(self) -> shapely.Polygon:
        """The face in plan."""
        return shapely.Polygon(self.outer[:, :2], [hole[:, :2] for hole in self.holes])

    def height(self, xy: Array) -> Array:
        """Height of the plane [m] over points, shape (n, 2)."""
        return (self.offset - xy @ self.normal[:2]) / self.normal[2]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrueEdge:
    """A straight edge.  A step is two edges, one on each roof: the upper's eave or rake, the lower's wall."""

    kind: EdgeKind
    start: Array  # (3,) [m]
    end: Array  # (3,) [m]
    planes: tuple[int, ...]  # faces it bounds: two for a crease, else one

    def __post_init__(self) -> None:
        lock(self.start, self.end)

    @property
    def length_m(self) -> float:
        """Length in space."""
        return float(np.linalg.norm(self.end - self.start))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrueWall:
    """A vertical piece of wall between two plan points; its foot is the ground or a lower roof."""

    start: Array  # (2,) [m]
    end: Array  # (2,) [m]
    top_m: tuple[float, float]  # underside of the roof at start and end
    foot_m: tuple[float, float] | None  # None: the ground

    def __post_init__(self) -> None:
        lock(self.start, self.end)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """A chimney that belongs to the roof's shape, an upright box; the faces count as going on below it."""

    centre: tuple[float, float]  # [m]
    size: tuple[float, float]  # [m]
    turn_rad: float
    foot_m: float
    top_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrueRoof:
    """A building's roof, exact, seen from above."""

    kind: str
    planes: tuple[TruePlane, ...]
    edges: tuple[TrueEdge, ...]
    walls: tuple[TrueWall, ...]
    stacks: tuple[Stack, ...] = ()
    ground_z_m: float = 0.0

    @property
    def area_m2(self) -> float:
        """Sloped area of all faces as seen from above (hidden strips not counted)."""
        return sum(plane.area_m2 for plane in self.planes)

    @property
    def plan_area_m2(self) -> float:
        """Area of the plan, overhangs included."""
        return sum(plane.plan_area_m2 for plane in self.planes)

    @property
    def footprint(self) -> shapely.Polygon | shapely.MultiPolygon:
        """Outline in plan, overhangs included."""
        # turning a roof leaves gaps of 1e-15 m between its faces: close them
        closed = shapely.union_all([p.plan.buffer(1e-6, join_style="mitre") for p in self.planes])
        return closed.buffer(-1e-6, join_style="mitre")

    @property
    def wall_footprint(self) -> shapely.Geometry:
        """Convex hull of the walls in plan."""
        return shapely.MultiPoint([tuple(p) for w in self.walls for p in (w.start, w.end)]).convex_hull

    def length_m(self, kind: EdgeKind) -> float:
        """Total length of the edges of a kind."""
        return sum(edge.length_m for edge in self.edges if edge.kind == kind)


def move(roof: TrueRoof, angle_rad: float, offset: Sequence[float]) -> TrueRoof:
    """Turn a roof counter-clockwise about the z axis through (0, 0), then shift it by `offset` [m], (3,)."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return _mapped(roof, np.array([[c, -s], [s, c]]), np.asarray(offset, dtype=np.float64))


def mirror(roof: TrueRoof) -> TrueRoof:
    """The roof with x turned to -x."""
    return _mapped(roof, np.array([[-1.0, 0.0], [0.0, 1.0]]), np.zeros(3))


def _mapped(roof: TrueRoof, turn: Array, shift: Array) -> TrueRoof:
    flip = np.linalg.det(turn) < 0

    def point(p: Array) -> Array:
        return np.concatenate([p[..., :2] @ turn.T, p[..., 2:]], axis=-1) + shift[: p.shape[-1]]

    def ring(p: Array) -> Array:
        return point(p[::-1] if flip else p)

    def plane(old: TruePlane) -> TruePlane:
        normal = np.append(turn @ old.normal[:2], old.normal[2])
        return replace(
            old,
            normal=normal,
            offset=float(old.offset + normal @ shift),
            outer=ring(old.outer),
            holes=tuple(ring(hole) for hole in old.holes),
            azimuth_rad=downslope_azimuth(normal),
        )

    def wall(old: TrueWall) -> TrueWall:
        lift = float(shift[2])
        return replace(
            old,
            start=point(old.start),
            end=point(old.end),
            top_m=(old.top_m[0] + lift, old.top_m[1] + lift),
            foot_m=None if old.foot_m is None else (old.foot_m[0] + lift, old.foot_m[1] + lift),
        )

    def stack(old: Stack) -> Stack:
        x, y = point(np.array(old.centre))
        angle = -old.turn_rad if flip else old.turn_rad + float(np.arctan2(turn[1, 0], turn[0, 0]))
        lift = float(shift[2])
        return replace(
            old,
            centre=(float(x), float(y)),
            turn_rad=angle,
            foot_m=old.foot_m + lift,
            top_m=old.top_m + lift,
        )

    return replace(
        roof,
        stacks=tuple(stack(s) for s in roof.stacks),
        planes=tuple(plane(p) for p in roof.planes),
        edges=tuple(replace(e, start=point(e.start), end=point(e.end)) for e in roof.edges),
        walls=tuple(wall(w) for w in roof.walls),
        ground_z_m=roof.ground_z_m + float(shift[2]),
    )


def downslope_azimuth(normal: Array) -> float:
    """Azimuth [rad] of the way down a plane, clockwise from +y, 0 to 2 pi; 0 for a level plane."""
    if np.hypot(normal[0], normal[1]) < 1e-12:
        return 0.0
    return float(np.arctan2(normal[0], normal[1]) % (2 * np.pi))
