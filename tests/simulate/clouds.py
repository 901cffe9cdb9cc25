"""Point clouds of a simulated roof as an aircraft's scanner and a drone's camera would give them.  Metres.

What the noise is made of matters more than its size.  A part of it is common to neighbours (range drift,
attitude, matching windows), so that averaging a face does not remove it; edges are where sensors lie:
a beam is wider than the edge is sharp, and image matching lets surfaces grow past their end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from slopewright.scene import Array, EdgeKind, Labels, lock

from .cast import CLASSES, Upright, World, first_hits, outlines, through_trees, wall_facets, world_of
from .fields import smooth_field
from .surroundings import TREE, WALL, Surroundings, bare
from .truth import TrueRoof

PULSE_M = 0.7  # returns closer than this along the beam merge: about a 4.5 ns pulse; common practice
DETECT = 0.15  # share of the beam's energy that makes a return of its own; common practice
FLIGHT_M = 800.0  # height of the aircraft above ground
BEAM_RINGS = ((0.0, 1), (0.4, 5), (0.8, 7))  # radius of sub-beams in beam radii, and how many


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimCloud:
    """Points and what each one truly is."""

    xyz: Array  # (n, 3) [m]
    label: (
        Labels  # (n,) face of the roof; -1 ground, -2 wall, -3 tree, -4 chimney or pipe, -5 neighbour, -6 car
    )
    strip: npt.NDArray[np.uint8]  # (n,) flight strip, 0 for photogrammetry

    def __post_init__(self) -> None:
        lock(self.xyz, self.label, self.strip)

    @property
    def classes(self) -> npt.NDArray[np.uint8]:
        """ASPRS classes as a careful provider gives them: 2 ground, 5 high vegetation, 6 building, 1 rest."""
        classes = np.where(self.label >= 0, 6, 1).astype(np.uint8)
        for label, code in CLASSES.items():
            classes[self.label == label] = code
        return classes


def airborne(
    roof: TrueRoof,
    rng: np.random.Generator,
    *,
    density: float = 8.0,
    noise_m: float = 0.05,
    correlated: float = 0.3,
    correlation_m: float = 1.5,
    strips: int = 2,
    strip_lift_m: float = 0.03,
    strip_shift_m: float = 0.05,
    look_max_rad: float = math.radians(15),
    beam_m: float = 0.25,
    margin_m: float = 8.0,
    surroundings: Surroundings | None = None,
) -> SimCloud:
    """Scan a roof from an aircraft.

    Parameters
    ----------
    density : float
        Pulses per m² of plan, all strips together.
    noise_m : float
        Standard deviation of a point's height about the strip's own level [m].
    correlated : float
        Share of that variance that neighbours have in common, with length `correlation_m` (see
        `fields.smooth_field`; exponential).
    strip_lift_m, strip_shift_m : float
        Standard deviations of each strip's own error of height and of each horizontal coordinate [m].
        One common to all strips remains: it moves a roof and leaves its shape.
    look_max_rad : float
        The roof is seen at an angle drawn up to this from the vertical, on either side.
    beam_m : float
        Footprint of the beam (1/e² diameter) [m].  A beam on an edge gives two returns if its parts are
        more than 0.7 m apart, else one at their mean; both lie on the beam's axis.
    margin_m : float
        Width of the scene around the roof's bounding box [m].
    """
    scene = world_of(roof, surroundings or bare(roof))
    parts = []
    for strip in range(strips):
        g, s = _scan_lines(roof, rng, density / strips, look_max_rad, margin_m)
        xyz, label = _returns(scene, g, s, beam_m, rng)
        drift = np.sqrt(correlated) * smooth_field(xyz, rng, length_m=correlation_m, smoothness=0.5)
        noise = noise_m * (drift + np.sqrt(1 - correlated) * rng.normal(size=len(xyz)))
        xyz[:, 2] += noise + rng.normal(0, strip_lift_m)
        xyz[:, :2] += rng.normal(0, strip_shift_m, 2)
        parts.append((xyz, label, np.full(len(xyz), strip, dtype=np.uint8)))
    xyz, label, strip_of = (np.concatenate(part) for part in zip(*parts, strict=True))
    return SimCloud(xyz=xyz, label=label, strip=strip_of)


def _scan_lines(
    roof: TrueRoof, rng: np.random.Generator, density: float, look_max_rad: float, margin_m: float
) -> tuple[Array, Array]:
    """Rays of one strip: straight parallel scan lines, pulses evenly spaced along them."""
    x0, y0, x1, y1 = roof.footprint.bounds
    centre = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    heading = rng.uniform(0, 2 * np.pi)
    along = np.array([np.cos(heading), np.sin(heading)])
    across = np.array([-along[1], along[0]])
    reach = np.hypot(x1 - x0, y1 - y0) / 2 + 1.5 * margin_m
    stretch = rng.uniform(0.75, 1.33)  # line spacing over pulse spacing, squared
    line_m, pulse_m = np.sqrt(stretch / density), np.sqrt(1 / (stretch * density))
    u, v = np.meshgrid(np.arange(-reach, reach, pulse_m), np.arange(-reach, reach, line_m))
    u = u + rng.uniform(0, pulse_m, (len(u), 1)) + rng.normal(0, 0.1 * pulse_m, u.shape)
    v = v + rng.uniform(0, line_m) + rng.normal(0, 0.03 * line_m, v.shape)
    g = centre + u.reshape(-1, 1) * across + v.reshape(-1, 1) * along
    inside = (g > np.array([x0, y0]) - margin_m) & (g < np.array([x1, y1]) + margin_m)
    rows = inside.all(axis=1) & (rng.random(len(g)) > 0.02)  # 2 % of the pulses give no return
    nadir_offset = FLIGHT_M * np.tan(rng.uniform(-look_max_rad, look_max_rad))
    s = -(u.ravel()[rows, None] + nadir_offset) / FLIGHT_M * across
    return g[rows] - s * roof.ground_z_m, s


def _returns(
    scene: World, g: Array, s: Array, beam_m: float, rng: np.random.Generator
) -> tuple[Array, Labels]:
    """Points of all pulses: one or two a pulse where the beam is on an edge."""
    z, label = first_hits(scene, g, s)
    split = np.flatnonzero(_on_edges(scene, g, s, beam_m))
    second = np.full(len(g), np.nan)
    second_label = np.zeros(len(g), dtype=np.int32)
    if len(split):
        z[split], label[split], second[split], second_label[split] = _mixed(scene, g[split], s[split], beam_m)
    through_trees(scene, g, s, z, label, rng.exponential(0.7, len(g)))
    second[label == TREE] = np.nan
    two = np.isfinite(second)
    rows = np.concatenate([np.arange(len(g)), np.flatnonzero(two)])
    z, label = np.concatenate([z, second[two]]), np.concatenate([label, second_label[two]])
    xyz = np.column_stack([g[rows] + s[rows] * z[:, None], z])
    _bump(scene, xyz, label, rng)
    return xyz, label


def _on_edges(scene: World, g: Array, s: Array, beam_m: float) -> npt.NDArray[np.bool_]:
    """Pulses whose beam may touch an outline, found on a grid of cells."""
    cell = max(beam_m, 0.1)
    origin = g.min(axis=0) - 3 * cell
    shape = np.ceil((g.max(axis=0) + 3 * cell - origin) / cell).astype(int) + 1
    marked = np.zeros(shape, dtype=bool)
    s_centre, g_centre = s.mean(axis=0), g.mean(axis=0)
    change = np.linalg.lstsq(np.column_stack([g - g_centre, np.ones(len(g))]), s - s_centre, rcond=None)[0]
    for ring in outlines(scene):
        for p, q in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            n = int(np.linalg.norm(q - p) / (0.5 * cell)) + 2
            line = p + np.linspace(0, 1, n)[:, None] * (q - p)
            slope = s_centre
            for _ in range(2):
                foot = line[:, :2] - slope * line[:, 2:]
                slope = s_centre + np.column_stack([foot - g_centre, np.ones(n)]) @ change
            at = np.floor((foot - origin) / cell).astype(int)
            at = at[((at >= 1) & (at < shape - 1)).all(axis=1)]
            for dx in (-1, 0, 1):
                for dy in (-1, 0, 1):
                    marked[at[:, 0] + dx, at[:, 1] + dy] = True
    at = np.floor((g - origin) / cell).astype(int)
    return marked[at[:, 0], at[:, 1]]


def _mixed(scene: World, g: Array, s: Array, beam_m: float) -> tuple[Array, Labels, Array, Labels]:
    """First and second return of beams that are wider than a point; nan where there is no second."""
    offsets, weights = _sub_beams(beam_m)
    hits = [first_hits(scene, g + offset, s) for offset in offsets]
    z = np.stack([hit[0] for hit in hits], axis=1)
    label = np.stack([hit[1] for hit in hits], axis=1)
    order = np.argsort(-z, axis=1)
    z, label = np.take_along_axis(z, order, axis=1), np.take_along_axis(label, order, axis=1)
    weight = weights[order]
    gaps = z[:, :-1] - z[:, 1:]
    widest = gaps.argmax(axis=1)
    apart = gaps.max(axis=1) > PULSE_M
    near = (np.arange(z.shape[1]) <= widest[:, None]) | ~apart[:, None]
    near_share = (weight * near).sum(axis=1)
    near &= ~(apart & (near_share < DETECT))[:, None]  # too faint: the far part alone is seen
    faint = ~near.any(axis=1)
    far = ~near
    far_seen = apart & ~faint & (1 - near_share >= DETECT)
    near[faint], far[faint] = True, False
    near[faint] = (np.arange(z.shape[1]) > widest[:, None])[faint]
    first, first_label = _mean(z, label, weight * near)
    second, second_label = _mean(z, label, np.where(far_seen[:, None], weight * far, weight))
    second[~far_seen] = np.nan
    return first, first_label, second, second_label


def _sub_beams(beam_m: float) -> tuple[Array, Array]:
    """Offsets (k, 2) [m] and energy shares (k,) of a Gaussian beam's parts."""
    offsets, weights = [], []
    edges = np.array([0.0, 0.2, 0.6, 1.0])
    energy = np.diff(1 - np.exp(-2 * edges**2))
    for i, (radius, n) in enumerate(BEAM_RINGS):
        turn = 2 * np.pi * (np.arange(n) + 0.5 * i) / n
        offsets.append(radius * beam_m / 2 * np.column_stack([np.cos(turn), np.sin(turn)]))
        weights.append(np.full(n, energy[i] / n))
    shares = np.concatenate(weights)
    return np.vstack(offsets), shares / shares.sum()


def _mean(z: Array, label: Labels, weight: Array) -> tuple[Array, Labels]:
    """Weighted mean height, and the label that has most weight, by row."""
    mean = (z * weight).sum(axis=1) / weight.sum(axis=1)
    kinds = np.unique(label)
    votes = [(weight * (label == k)).sum(axis=1) for k in kinds]
    return mean, kinds[np.argmax(votes, axis=0)].astype(np.int32)


def _bump(scene: World, xyz: Array, label: Labels, rng: np.random.Generator) -> None:
    """Make the ground rough, in place."""
    rows = label == -1
    ground = scene.ground
    if ground.rough_m > 0 and rows.any():
        bumps = smooth_field(xyz[rows, :2], rng, length_m=ground.rough_length_m)
        xyz[rows, 2] += ground.rough_m * bumps


def photogrammetry(
    roof: TrueRoof,
    rng: np.random.Generator,
    *,
    density: float = 400.0,
    noise_m: float = 0.015,
    correlated: float = 0.85,
    correlation_m: float = 0.7,
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
    _bump(scene, xyz, label, rng)
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
    xyz += noise_m * noise[:, None] * normal
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
