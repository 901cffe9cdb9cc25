"""Clouds as dense matching of a drone's photos gives them.  Metres; z is up.

Noise is smooth over the matching window and the block bends; creases are rounded, surfaces grow past
their free edges and hang down from them, and what has no texture is not there.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from slopewright.scene import Array, EdgeKind, Labels

from .cast import Upright, World, bump_ground, first_hits, through_trees, wall_facets, world_of
from .fields import smooth_field
from .sim_cloud import SimCloud
from .surroundings import TREE, WALL, Surroundings, bare
from .truth import TrueRoof


def photogrammetry(
    roof: TrueRoof,
    rng: np.random.Generator,
    *,
    density: float = 400.0,
    noise_m: float = 0.015,
    correlated: float = 0.85,
    correlation_m: float = 0.7,
    uneven: float = 0.2,
    bleed_m: float = 0.02,
    round_m: float = 0.08,
    holes: float = 0.03,
    skirts: float = 0.3,
    walls: float = 0.3,
    margin_m: float = 3.0,
    surroundings: Surroundings | None = None,
) -> SimCloud:
    """Match a roof densely from a drone's photos.

    Parameters
    ----------
    density : float
        Points per m² of plan.
    noise_m : float
        Standard deviation of a point across its surface [m].
    correlated : float
        Share of that variance that neighbours have in common, with length `correlation_m`: the matching
        window and the smoothing of depth maps.  A tenth of it is in waves of 6 m: bending of the block.
    uneven : float
        Standard deviation of the logarithm of each face's own noise over `noise_m`: texture and light
        differ from face to face.
    bleed_m : float
        How far surfaces grow past their free edges on average [m]; it varies along the edge.
    round_m : float
        Half-width over which creases are smoothed [m].
    holes : float
        Share of the surface that is not matched, in blobs of about a metre.
    skirts : float
        Share of the points just outside a free edge that hang below it.
    walls : float
        Points per m² of wall over points per m² of plan.
    """
    scene = world_of(roof, surroundings or bare(roof))
    x0, y0, x1, y1 = roof.footprint.buffer(margin_m).bounds
    step = 1 / np.sqrt(density)
    x, y = np.meshgrid(np.arange(x0, x1, step), np.arange(y0, y1, step))
    xy = np.column_stack([x.ravel(), y.ravel()]) + rng.uniform(0, step, (x.size, 2))
    straight = np.zeros_like(xy)
    z, label = first_hits(scene, xy, straight)
    normal = _normals(roof, label)
    _round_creases(roof, xy, z, label, round_m)
    _bleed(roof, xy, z, label, normal, bleed_m, skirts, rng)
    xyz = np.column_stack([xy, z])
    bump_ground(scene, xyz, label, rng)
    z = xyz[:, 2].copy()
    leaves = 0.25 + 0.2 * smooth_field(xy, rng, length_m=0.3) if scene.trees else np.zeros(len(xy))
    through_trees(scene, xy, straight, z, label, np.maximum(leaves, 0))
    xyz[:, 2] = z
    normal[label == TREE] = (0, 0, 1)
    on_walls = [_on_wall(facet, scene, density * walls, rng) for facet in wall_facets(scene)]
    xyz = np.vstack([xyz, *(part[0] for part in on_walls)])
    normal = np.vstack([normal, *(part[1] for part in on_walls)])
    label = np.concatenate([label, *(part[2] for part in on_walls)])
    framed = ((xyz[:, :2] >= (x0, y0)) & (xyz[:, :2] <= (x1, y1))).all(axis=1)
    xyz, normal, label = xyz[framed], normal[framed], label[framed]
    window = smooth_field(xyz, rng, length_m=correlation_m)
    block = smooth_field(xyz, rng, length_m=6.0, smoothness=4.0)
    common = np.sqrt(0.9) * window + np.sqrt(0.1) * block
    noise = np.sqrt(correlated) * common + np.sqrt(1 - correlated) * rng.normal(size=len(xyz))
    own = np.append(np.exp(uneven * rng.normal(size=len(roof.planes))), 1.0)
    size = noise_m * own[np.where(label >= 0, label, len(own) - 1)]
    xyz += (size * noise)[:, None] * normal
    if holes > 0:
        patch = smooth_field(xyz, rng, length_m=0.6)
        keep = patch < np.quantile(patch, 1 - holes)
        xyz, label = xyz[keep], label[keep]
    return SimCloud(xyz=xyz, label=label, strip=np.zeros(len(xyz), dtype=np.uint8))


def _normals(roof: TrueRoof, label: Labels) -> Array:
    """Unit normal of the surface under each point; up where it is not this roof."""
    table = np.vstack([*(plane.normal for plane in roof.planes), [0.0, 0.0, 1.0]])
    return table[np.where(label >= 0, label, len(table) - 1)]


def _round_creases(roof: TrueRoof, xy: Array, z: Array, label: Labels, half_width_m: float) -> None:
    """Smooth creases with a box of a half-width across them, in place."""
    if half_width_m <= 0:
        return
    for edge in roof.edges:
        if len(edge.planes) != 2:
            continue
        f, g = (roof.planes[k] for k in edge.planes)
        rows, distance, _ = _beside(xy, edge.start[:2], edge.end[:2], half_width_m)
        on = np.isin(label[rows], edge.planes)
        rows, distance = rows[on], np.abs(distance[on])
        jump = np.linalg.norm(f.normal[:2] / f.normal[2] - g.normal[:2] / g.normal[2])
        convex = edge.kind in (EdgeKind.RIDGE, EdgeKind.HIP)
        if edge.kind == EdgeKind.PITCH_BREAK:
            middle = f.plan.centroid.coords[0]
            convex = float(f.height(np.array([middle]))[0]) < float(g.height(np.array([middle]))[0])
        # mean of |x + t| over t in [-h, h] is (x² + h²) / 2h inside the box
        lift = jump / 2 * ((distance**2 + half_width_m**2) / (2 * half_width_m) - distance)
        z[rows] += -lift if convex else lift


def _beside(
    xy: Array, start: Array, end: Array, reach_m: float
) -> tuple[npt.NDArray[np.int64], Array, Array]:
    """Points within reach of a plan segment: rows, distance to its line (left +), position along it."""
    low, high = np.minimum(start, end) - reach_m, np.maximum(start, end) + reach_m
    rows = np.flatnonzero(((xy >= low) & (xy <= high)).all(axis=1))
    length = np.hypot(*(end - start))
    along = (end - start) / length
    apart = xy[rows] - start
    position = apart @ along
    distance = along[0] * apart[:, 1] - along[1] * apart[:, 0]
    near = (np.abs(distance) <= reach_m) & (position >= -reach_m) & (position <= length + reach_m)
    return rows[near], distance[near], position[near]


def _bleed(
    roof: TrueRoof,
    xy: Array,
    z: Array,
    label: Labels,
    normal: Array,
    bleed_m: float,
    skirts: float,
    rng: np.random.Generator,
) -> None:
    """Let faces grow past their free edges and hang below them, in place."""
    below = z.copy()
    for edge in roof.edges:
        if edge.kind not in (EdgeKind.EAVE, EdgeKind.RAKE):
            continue
        (k,) = edge.planes
        face = roof.planes[k]
        rows, distance, position = _beside(xy, edge.start[:2], edge.end[:2], 2.5 * bleed_m + 0.06)
        if not len(rows):
            continue
        middle, way = (edge.start[:2] + edge.end[:2]) / 2, edge.end[:2] - edge.start[:2]
        left = middle + 1e-4 * np.array([-way[1], way[0]]) / np.hypot(*way)
        outward = -distance if face.plan.contains(shapely.Point(left)) else distance
        growth = bleed_m * np.clip(1 + 0.6 * smooth_field(position[:, None], rng, length_m=0.5), 0, 2.5)
        height = face.height(xy[rows])
        lower = (outward > 0) & (below[rows] < height - 0.05)
        grown = lower & (outward <= growth)
        hanging = lower & ~grown & (outward <= growth + 0.06) & (rng.random(len(rows)) < skirts)
        z[rows[grown]], label[rows[grown]], normal[rows[grown]] = height[grown], k, face.normal
        drop = rng.random(len(rows)) * np.clip(height - below[rows], 0, 0.6)
        z[rows[hanging]], label[rows[hanging]] = (height - drop)[hanging], WALL


def _on_wall(
    facet: Upright, scene: World, density: float, rng: np.random.Generator
) -> tuple[Array, Array, Labels]:
    """Points, normals and labels on a vertical facet, above the ground."""
    step = facet.end - facet.start
    length = float(np.hypot(*step))
    foot, top = np.array(facet.foot), np.array(facet.top)
    n = rng.poisson(density * length * max(float((top - foot).max()), 0.0))
    share = rng.random(n)
    xy = facet.start + share[:, None] * step
    low, high = foot[0] + share * (foot[1] - foot[0]), top[0] + share * (top[1] - top[0])
    z = foot.min() + rng.random(n) * float((top - foot).max())
    z = low + (z - foot.min())
    a, b, c = scene.ground.plane()
    seen = (z < high) & (z > a * xy[:, 0] + b * xy[:, 1] + c)
    if facet.label != WALL:
        roof_z, _ = first_hits(scene, xy + 0.02 * np.array([step[1], -step[0]]) / length, np.zeros_like(xy))
        seen &= z > roof_z - 1e-6
    xyz = np.column_stack([xy, z])[seen]
    normal = np.broadcast_to([step[1] / length, -step[0] / length, 0.0], xyz.shape)
    return xyz, normal, np.full(len(xyz), facet.label, dtype=np.int32)
