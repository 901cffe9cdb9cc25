"""Clouds of a scanner on a tripod, from a few stations around the house at eye height.  Metres; z is up.

It sees walls, the undersides and edges of eaves, and roofs at a grazing angle; slopes that fall away from
all stations, or are flatter than the line of sight, it does not see.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from slopewright.scene import Array, EdgeKind, Labels

from .cast import Facet, Slab, Upright, World, bump_ground, world_of
from .sim_cloud import SimCloud
from .surroundings import GROUND, TREE, WALL, Surroundings, bare, ground_at
from .truth import TrueRoof

MIXED = -7  # label of points in the air between the two things that a beam met
EYE_M = 1.6
LOWEST_RAD = -0.35  # below it the beam meets the ground near the tripod
GRAZING = 0.05  # cosine of the incidence, 87 degrees: farther out nothing comes back
LEAVES_M = 0.7  # mean way of a beam into a crown
JUMP_M = 0.05  # neighbours in range farther apart than this lie on two things
SAMPLES = 16  # of each side of a facet, to see which rays may meet it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fan:
    """The rays of one station: all pairs of an azimuth and an elevation."""

    station: Array  # (3,) [m]
    azimuth: Array  # (a,) [rad] counter-clockwise from +x, increasing
    elevation: Array  # (e,) [rad], increasing

    def directions(self, rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64]) -> Array:
        """Unit vectors, shape (rows, columns, 3), of a block of the fan."""
        az, el = self.azimuth[rows][:, None], self.elevation[columns][None]
        level = np.cos(el)
        return np.stack([np.cos(az) * level, np.sin(az) * level, np.sin(el) + 0 * az], axis=-1)


def terrestrial(
    roof: TrueRoof,
    rng: np.random.Generator,
    *,
    stations: int = 3,
    step_rad: float = 3e-3,
    noise_m: float = 0.004,
    registration_m: float = 0.006,
    lean_rad: float = 2e-4,
    away_m: tuple[float, float] = (8.0, 18.0),
    beam_m: float = 0.006,
    spread_rad: float = 4e-4,
    thickness_m: float = 0.2,
    margin_m: float = 4.0,
    surroundings: Surroundings | None = None,
) -> SimCloud:
    """Scan a house from the ground.

    Parameters
    ----------
    stations : int
        Tripods, about evenly around the house, `away_m` from its convex outline.
    step_rad : float
        Angle between neighbouring rays, both ways.
    noise_m : float
        Standard deviation of a range on a surface met squarely; it grows as the beam grazes.
    registration_m, lean_rad : float
        Standard deviations of each station's own shift in each coordinate and lean in either direction.
    beam_m, spread_rad : float
        Diameter of the beam at the instrument and its growth with range.  A beam on an edge gives one
        point anywhere between the two things it met.
    thickness_m : float
        Of the roof: undersides and fascias are that far below its surface.
    margin_m : float
        Width of the scene around the roof's bounding box [m].
    """
    scene = world_of(roof, surroundings or bare(roof))
    facets = [*scene.facets, *_undersides(roof, thickness_m)]
    middle = np.array(roof.footprint.centroid.coords[0])
    x0, y0, x1, y1 = roof.footprint.buffer(margin_m).bounds
    parts = []
    for number, station in enumerate(_stations(roof, surroundings, scene, stations, away_m, rng)):
        fan = _fan(roof, station, step_rad, margin_m)
        range_m, label, cosine = _met(fan, facets, scene, rng)
        over_step = beam_m / (step_rad * range_m) + spread_rad / step_rad  # width of the beam there
        _mix(range_m, label, rng.random(label.shape) < over_step, rng)
        range_m += noise_m * rng.normal(size=label.shape) / np.maximum(cosine, GRAZING)
        rows, columns = np.arange(len(fan.azimuth)), np.arange(len(fan.elevation))
        with np.errstate(invalid="ignore"):
            xyz = (station + range_m[..., None] * fan.directions(rows, columns)).reshape(-1, 3)
        label = label.ravel()
        seen = np.isfinite(range_m.ravel()) & (cosine.ravel() > GRAZING) & (rng.random(len(label)) > 0.02)
        seen &= ((xyz[:, :2] > (x0, y0)) & (xyz[:, :2] < (x1, y1))).all(axis=1)
        xyz, label = xyz[seen], label[seen]
        bump_ground(scene, xyz, label, rng)
        xyz += rng.normal(0, registration_m, 3)
        xyz[:, 2] += (xyz[:, :2] - middle) @ rng.normal(0, lean_rad, 2)
        parts.append((xyz, label, np.full(len(xyz), number, dtype=np.uint8)))
    xyz, label, strip = (np.concatenate(part) for part in zip(*parts, strict=True))
    return SimCloud(xyz=xyz, label=label, strip=strip)


def _stations(
    roof: TrueRoof,
    surroundings: Surroundings | None,
    scene: World,
    n: int,
    away_m: tuple[float, float],
    rng: np.random.Generator,
) -> Iterator[Array]:
    """Places on the ground around the house, clear of other houses."""
    houses = surroundings.neighbours if surroundings else ()
    taken = shapely.union_all([other.footprint.buffer(1.0) for other in houses])
    start = rng.random()
    for i in range(n):
        while True:
            ring = roof.footprint.convex_hull.buffer(float(rng.uniform(*away_m))).exterior
            share = (start + (i + float(rng.uniform(-0.25, 0.25))) / n) % 1.0
            spot = ring.interpolate(share, normalized=True)
            if not taken.contains(spot):
                break
        yield np.array([spot.x, spot.y, ground_at(scene.ground, spot.x, spot.y) + EYE_M])


def _fan(roof: TrueRoof, station: Array, step_rad: float, margin_m: float) -> Fan:
    """Rays towards the house and what is close to it, a fan of less than half a turn."""
    corners = np.array(roof.footprint.convex_hull.buffer(margin_m / 2).exterior.coords) - station[:2]
    middle = np.arctan2(*corners.mean(axis=0)[::-1])
    turn = np.angle(np.exp(1j * (np.arctan2(corners[:, 1], corners[:, 0]) - middle)))
    top = max(float(plane.outer[:, 2].max()) for plane in roof.planes) - station[2]
    nearest = float(shapely.Point(station[:2]).distance(roof.footprint))
    return Fan(
        station=station,
        azimuth=middle + np.arange(turn.min(), turn.max(), step_rad),
        elevation=np.arange(LOWEST_RAD, np.arctan2(top + 1.0, nearest), step_rad),
    )


def _met(
    fan: Fan, facets: list[Facet], scene: World, rng: np.random.Generator
) -> tuple[Array, Labels, Array]:
    """Range [m] (inf for nothing), label and cosine of the incidence of what each ray meets first."""
    shape = (len(fan.azimuth), len(fan.elevation))
    range_m, cosine = np.full(shape, np.inf), np.ones(shape)
    label = np.full(shape, GROUND, dtype=np.int32)
    everything = np.arange(shape[0]), np.arange(shape[1])
    a, b, c = scene.ground.plane()
    ground = Slab(plane=(a, b, c), polygon=shapely.box(-1e4, -1e4, 1e4, 1e4), label=GROUND)
    for facet in (ground, *facets):
        rows, columns = everything if facet is ground else _block(fan, facet)
        if not len(rows) or not len(columns):
            continue
        ways = fan.directions(rows, columns)
        distance, incidence = _hit(facet, fan.station, ways)
        block = np.ix_(rows, columns)
        nearer = distance < range_m[block]
        range_m[block] = np.where(nearer, distance, range_m[block])
        label[block] = np.where(nearer, facet.label, label[block])
        cosine[block] = np.where(nearer, incidence, cosine[block])
    ways = fan.directions(*everything)
    for tree in scene.trees:
        scale = np.array([tree.radius_m, tree.radius_m, tree.half_height_m])
        start, way = (fan.station - np.array(tree.centre)) / scale, ways / scale
        p, q, r = (way**2).sum(axis=-1), way @ start, float(start @ start) - 1
        inside = q**2 - p * r
        root = np.sqrt(np.maximum(inside, 0)) / p
        stop = -q / p - root + rng.exponential(LEAVES_M, shape)
        stopped = (inside > 0) & (stop > 0) & (stop < -q / p + root) & (stop < range_m)
        range_m[stopped], label[stopped], cosine[stopped] = stop[stopped], TREE, 1.0
    return range_m, label, cosine


def _block(fan: Fan, facet: Facet) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Rows and columns of the fan that may meet a facet: those within its outline as the station sees it."""
    corners = facet.corners() - fan.station
    share = np.linspace(0, 1, SAMPLES)[:, None]
    outline = np.vstack([p + share * (q - p) for p, q in itertools.pairwise([*corners, corners[0]])])
    middle = (fan.azimuth[0] + fan.azimuth[-1]) / 2
    turn = middle + np.angle(np.exp(1j * (np.arctan2(outline[:, 1], outline[:, 0]) - middle)))
    up = np.arctan2(outline[:, 2], np.hypot(outline[:, 0], outline[:, 1]))
    slack = 0.02  # the outline bulges between its samples
    rows = (fan.azimuth > turn.min() - slack) & (fan.azimuth < turn.max() + slack)
    columns = (fan.elevation > up.min() - slack) & (fan.elevation < up.max() + slack)
    if np.ptp(turn) > np.pi:  # it stands behind the station, or round it
        rows[:] = True
    return np.flatnonzero(rows), np.flatnonzero(columns)


def _hit(facet: Facet, station: Array, ways: Array) -> tuple[Array, Array]:
    """Distance [m] along rays to a facet, inf for a miss, and the cosine of the incidence."""
    with np.errstate(divide="ignore", invalid="ignore"):
        if isinstance(facet, Slab):
            a, b, c = facet.plane
            normal = np.array([-a, -b, 1.0]) / np.sqrt(1 + a * a + b * b)
            distance = (c - station @ [-a, -b, 1.0]) / (ways @ [-a, -b, 1.0])
            x, y = station[:2, None, None] + distance * np.moveaxis(ways[..., :2], -1, 0)
            inside = np.isfinite(distance) & shapely.contains_xy(facet.polygon, x, y)
        else:
            step = facet.end - facet.start
            normal = np.array([step[1], -step[0], 0.0]) / np.hypot(*step)
            distance = ((facet.start - station[:2]) @ normal[:2]) / (ways @ normal)
            point = station + distance[..., None] * ways
            share = (point[..., :2] - facet.start) @ step / (step @ step)
            inside = (share >= 0) & (share <= 1)
            inside &= point[..., 2] <= facet.top[0] + share * (facet.top[1] - facet.top[0])
            inside &= point[..., 2] >= facet.foot[0] + share * (facet.foot[1] - facet.foot[0])
    return np.where(inside & (distance > 0), distance, np.inf), np.abs(ways @ normal)


def _mix(range_m: Array, label: Labels, wide: npt.NDArray[np.bool_], rng: np.random.Generator) -> None:
    """Put some points beside a jump in range between its two sides, in place."""
    near, far = range_m[:-1], range_m[1:]
    with np.errstate(invalid="ignore"):
        jump = np.isfinite(near) & np.isfinite(far) & (np.abs(near - far) > JUMP_M) & wide[:-1]
    share = rng.random(int(jump.sum()))
    between = share * near[jump] + (1 - share) * far[jump]
    range_m[:-1][jump], label[:-1][jump] = between, MIXED


def _undersides(roof: TrueRoof, thickness_m: float) -> Iterator[Facet]:
    """What a roof shows from below: its underside, and a fascia along every free edge."""
    for plane in roof.planes:
        n, polygon = plane.normal, plane.plan
        shapely.prepare(polygon)
        below = plane.offset / n[2] - thickness_m
        yield Slab(plane=(-n[0] / n[2], -n[1] / n[2], below), polygon=polygon, label=WALL)
    for edge in roof.edges:
        if edge.kind in (EdgeKind.EAVE, EdgeKind.RAKE):
            top = (float(edge.start[2]), float(edge.end[2]))
            foot = (top[0] - thickness_m, top[1] - thickness_m)
            yield Upright(start=edge.start[:2], end=edge.end[:2], foot=foot, top=top, label=WALL)
