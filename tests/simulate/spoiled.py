"""Clouds that something is wrong with, from any simulated roof: what a scan looks like when it goes badly.

Metres; z is up.  A spoiler takes the true roof and its points and gives the points as they arrive; how badly
is drawn.  `SPOILERS` are the ways of spoiling any scene, `SHAPES` are surfaces that are no pitched roof.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt
import shapely

from slopewright.scene import Array

from . import shapes
from .fields import smooth_field
from .sim_cloud import SimCloud
from .surroundings import GROUND, Ground, Surroundings, Tree
from .truth import TrueRoof, move

Spoiler = Callable[[TrueRoof, SimCloud, np.random.Generator], Array]


def _tangent(angle_rad: float) -> Array:
    return np.array([math.cos(angle_rad), math.sin(angle_rad)])


def unspoiled(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """As scanned: what the others are held against."""
    return sim.xyz


def ghost(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator, gap_m: float | None = None) -> Array:
    """Two copies of the scene, 3 to 12 cm apart in any upward direction: stations that do not fit."""
    gap_m = float(rng.uniform(0.03, 0.12)) if gap_m is None else gap_m
    out = rng.normal(size=3)
    out[2] = abs(out[2])
    second = rng.random(len(sim.xyz)) < rng.uniform(0.35, 0.65)
    return sim.xyz + second[:, None] * gap_m * out / np.linalg.norm(out)


def strip_step(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """One strip (of a matched cloud: what lies on one side of a line) 10 to 30 cm higher."""
    if sim.n_returns is None:
        centre = np.array(roof.footprint.centroid.coords[0])
        raised = (sim.xyz[:, :2] - centre) @ _tangent(rng.uniform(0, 2 * np.pi)) > 0
    else:
        raised = sim.strip == 0
    return sim.xyz + raised[:, None] * np.array([0, 0, rng.uniform(0.1, 0.3)])


def burnt(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator, share: float | None = None) -> Array:
    """Holes with soft edges in a tenth to two fifths of the roof; the floor below is seen through them."""
    share = float(rng.uniform(0.1, 0.4)) if share is None else share
    on_roof = sim.label >= 0
    heat = smooth_field(sim.xyz[:, :2], rng, length_m=1.5)
    gone = on_roof & (heat > np.quantile(heat[on_roof], 1 - share))
    xyz = sim.xyz.copy()
    floor_m = min(float(edge.start[2]) for edge in roof.edges) - 0.3
    xyz[gone, 2] = np.minimum(xyz[gone, 2] - 0.3, floor_m) + rng.normal(0, 0.1, int(gone.sum()))
    return xyz[~gone | (rng.random(len(xyz)) < 0.6)]


def unmatched(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """Nothing at all in a fifth to a half of the scene, in blobs of some metres."""
    field = smooth_field(sim.xyz[:, :2], rng, length_m=2.5)
    return sim.xyz[field < np.quantile(field, rng.uniform(0.5, 0.8))]


def fifth_seen(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """Of the largest plane and what is beside it on that side only a fifth of the width is seen."""
    plane = max(roof.planes, key=lambda p: p.area_m2)
    down = np.array([math.sin(plane.azimuth_rad), math.cos(plane.azimuth_rad)])
    along = np.array([-down[1], down[0]])
    t = plane.outer[:, :2] @ along
    edge = t.min() + 0.2 * np.ptp(t) if rng.random() < 0.5 else t.max() - 0.2 * np.ptp(t)
    sign = 1.0 if edge < t.mean() else -1.0
    near = shapely.contains_xy(plane.plan.buffer(0.05), *sim.xyz[:, :2].T)
    near |= (sim.label == GROUND) & ((sim.xyz[:, :2] - np.array(plane.plan.centroid.coords[0])) @ down > 0)
    return sim.xyz[~(near & (sign * (sim.xyz[:, :2] @ along - edge) > 0))]


def cut_through(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """The cloud ends along a line that cuts through the roof, a fifth to four fifths of the way."""
    across = _tangent(rng.uniform(0, 2 * np.pi))
    t = shapely.get_coordinates(roof.footprint) @ across
    edge = t.min() + rng.uniform(0.2, 0.8) * np.ptp(t)
    return sim.xyz[sim.xyz[:, :2] @ across < edge]


def gable_cut(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """The cloud ends square to the ridge, half a metre to three metres before the roof does."""
    plane = max(roof.planes, key=lambda p: p.area_m2)
    along = _tangent(-plane.azimuth_rad)
    t = shapely.get_coordinates(roof.footprint) @ along
    return sim.xyz[sim.xyz[:, :2] @ along < t.max() - rng.uniform(0.5, 3.0)]


def cropped(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """Cut out by hand along its outline, a little inside or outside: a roof and nothing around it."""
    region = roof.footprint.buffer(float(rng.uniform(-0.1, 0.4)), join_style="mitre")
    keep = shapely.contains_xy(region, *sim.xyz[:, :2].T)
    return sim.xyz[keep & (sim.xyz[:, 2] > roof.ground_z_m + 1.5)]


def doubled(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """Every point two to five times, exactly or to the millimetre."""
    xyz = np.repeat(sim.xyz, int(rng.integers(2, 6)), axis=0)
    if rng.random() < 0.5:
        xyz = xyz + rng.integers(-1, 2, xyz.shape) * 0.001
    return xyz[rng.permutation(len(xyz))]


def strays(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """One to twenty points as much as 100 km away, and a hundred within 30 m, above and below ground."""
    far = rng.normal(size=(int(rng.integers(1, 21)), 3)) * 10 ** rng.uniform(3, 5, (1, 1))
    low, high = sim.xyz.min(axis=0), sim.xyz.max(axis=0)
    near = rng.uniform(low - 30, high + 30, (100, 3))
    return np.vstack([sim.xyz, sim.xyz.mean(axis=0) + far, near])


def echoes(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """One to five of a hundred points lie up to 3 m too low, as many a little too high."""
    xyz = sim.xyz.copy()
    share = rng.uniform(0.01, 0.05)
    low = rng.random(len(xyz)) < share
    high = rng.random(len(xyz)) < share
    xyz[low, 2] -= rng.exponential(1.0, int(low.sum()))
    xyz[high, 2] += rng.exponential(0.3, int(high.sum()))
    return xyz


def noisy(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator, sd_m: float = 0.3) -> Array:
    """Noise of 0.3 m in every direction."""
    return sim.xyz + rng.normal(0, sd_m, sim.xyz.shape)


def rough(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """Noise of 6 to 15 cm in every direction."""
    return noisy(roof, sim, rng, float(rng.uniform(0.06, 0.15)))


def thinned(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """One point a square metre."""
    x0, y0, x1, y1 = roof.footprint.bounds
    inside = shapely.contains_xy(shapely.box(x0, y0, x1, y1), *sim.xyz[:, :2].T)
    density = inside.sum() / ((x1 - x0) * (y1 - y0))
    return sim.xyz[rng.random(len(sim.xyz)) < 1 / density]


def scan_lines(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator, gap_m: float | None = None) -> Array:
    """Lines of points 1.5 to 4 m apart, dense along."""
    gap_m = float(rng.uniform(1.5, 4.0)) if gap_m is None else gap_m
    t = sim.xyz[:, :2] @ _tangent(rng.uniform(0, 2 * np.pi))
    return sim.xyz[np.mod(t, gap_m) < 0.12]


def one_line(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """A single scan line over the house."""
    centre = np.array(roof.footprint.centroid.coords[0])
    return sim.xyz[np.abs((sim.xyz[:, :2] - centre) @ _tangent(rng.uniform(0, 2 * np.pi))) < 0.15]


def bowl(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """The scene bends by 5 to 20 cm over 10 m: a camera's wrong distortion."""
    xyz = sim.xyz.copy()
    r2 = ((xyz[:, :2] - np.array(roof.footprint.centroid.coords[0])) ** 2).sum(axis=1)
    xyz[:, 2] += rng.choice([-1, 1]) * rng.uniform(0.05, 0.2) * r2 / 100
    return xyz


def z_down(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """Depth instead of height, and the right hand kept."""
    return sim.xyz * np.array([1.0, -1.0, -1.0])


def y_up(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """The axes of a graphics program."""
    return sim.xyz[:, [0, 2, 1]] * np.array([1.0, 1.0, -1.0])


def mirrored(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """A left-handed frame: all lengths and areas stay."""
    return sim.xyz * np.array([-1.0, 1.0, 1.0])


def in_feet(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """A cloud in feet that says metres."""
    return sim.xyz / 0.3048


def in_metres(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """A cloud in metres that says feet."""
    return sim.xyz * 0.3048


def panels(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """Solar panels 8 to 20 cm above a fifth to a half of the largest face."""
    plane = max(roof.planes, key=lambda p: p.area_m2)
    centre = np.array(plane.plan.representative_point().coords[0])
    down = np.array([math.sin(plane.azimuth_rad), math.cos(plane.azimuth_rad)])
    along = np.array([-down[1], down[0]])
    uv = (sim.xyz[:, :2] - centre) @ np.column_stack([along, down])
    size = np.sqrt(rng.uniform(0.2, 0.5) * plane.plan_area_m2)
    stretch = rng.uniform(0.9, 1.6)
    on = (np.abs(uv) < np.array([size * stretch, size / stretch]) / 2).all(axis=1)
    on &= shapely.contains_xy(plane.plan.buffer(-0.3), *sim.xyz[:, :2].T) & (sim.label >= 0)
    return sim.xyz + on[:, None] * rng.uniform(0.08, 0.2) * plane.normal


SPOILERS: dict[str, Spoiler] = {
    f.__name__: f
    for f in (
        unspoiled,
        ghost,
        strip_step,
        burnt,
        unmatched,
        fifth_seen,
        cut_through,
        gable_cut,
        cropped,
        doubled,
        strays,
        echoes,
        rough,
        noisy,
        thinned,
        scan_lines,
        one_line,
        bowl,
        z_down,
        y_up,
        mirrored,
        in_feet,
        in_metres,
        panels,
    )
}


def under_trees(
    roof: TrueRoof, rng: np.random.Generator, share: tuple[float, float] = (0.3, 0.8)
) -> Surroundings:
    """A scene whose trees hang over a share of the roof drawn between two bounds."""
    outline = roof.footprint
    wanted = rng.uniform(*share) * outline.area
    x0, y0, x1, y1 = outline.bounds
    top_m = max(float(plane.outer[:, 2].max()) for plane in roof.planes)
    trees: list[Tree] = []
    crowns = shapely.Polygon()
    while crowns.intersection(outline).area < wanted:
        radius = float(rng.uniform(2.0, 4.0))
        x, y = float(rng.uniform(x0, x1)), float(rng.uniform(y0, y1))
        trees.append(
            Tree(centre=(x, y, top_m + float(rng.uniform(-1.0, 1.5))), radius_m=radius, half_height_m=2.0)
        )
        crowns = crowns.union(shapely.Point(x, y).buffer(radius))
    return Surroundings(ground=Ground(), trees=tuple(trees))


def flat_roof(rng: np.random.Generator) -> TrueRoof:
    """A rectangle that falls by 0 to 1.5 degrees, 3 to 8 m above ground."""
    length_m = float(rng.uniform(8, 25))
    roof = shapes.shed(
        length_m=length_m,
        span_m=float(rng.uniform(6, min(length_m, 15))),
        pitch_rad=math.radians(float(rng.choice([0.0, rng.uniform(0.1, 1.5)]))),
        overhang_m=float(rng.uniform(0.0, 0.4)),
        eave_z_m=float(rng.uniform(3, 8)),
    )
    return move(roof, float(rng.uniform(0, 2 * math.pi)), (0.0, 0.0, 0.0))


def parapet(roof: TrueRoof, sim: SimCloud, rng: np.random.Generator) -> Array:
    """A rim 0.2 to 0.4 m wide that stands 0.3 to 1 m above the roof, all round."""
    width_m, height_m = rng.uniform(0.2, 0.4), rng.uniform(0.3, 1.0)
    inner = roof.footprint.buffer(-width_m, join_style="mitre")
    on = (sim.label >= 0) & ~shapely.contains_xy(inner, *sim.xyz[:, :2].T)
    return sim.xyz + on[:, None] * np.array([0.0, 0.0, height_m])


def _on_ground(
    xy: Array, height_m: Array, inside: npt.NDArray[np.bool_], noise_m: float, rng: np.random.Generator
) -> Array:
    """A surface where `inside`, ground at 0 elsewhere."""
    z = np.where(inside, height_m, 0.03 * smooth_field(xy, rng, length_m=2.0))
    return np.column_stack([xy, z + rng.normal(0, noise_m, len(xy))])


def _strewn(rng: np.random.Generator, half_m: float, density: float) -> Array:
    return rng.uniform(-half_m, half_m, (rng.poisson(density * (2 * half_m) ** 2), 2))


def dome(rng: np.random.Generator, density: float) -> Array:
    """A cap of a sphere, up to a hemisphere, of 4 to 12 m radius in plan on a drum 2 to 6 m high."""
    plan_m = float(rng.uniform(4, 12))
    radius_m = plan_m / math.sin(rng.uniform(math.radians(35), math.pi / 2))
    xy = _strewn(rng, plan_m + 8, density)
    r2 = (xy**2).sum(axis=1)
    cap = np.sqrt(np.maximum(radius_m**2 - r2, 0)) - math.sqrt(radius_m**2 - plan_m**2)
    return _on_ground(xy, cap + rng.uniform(2, 6), r2 < plan_m**2, 0.02, rng)


def vault(rng: np.random.Generator, density: float) -> Array:
    """A barrel vault, 6 to 14 m wide, rising by a sixth to a half of its width."""
    half_m, length_m = float(rng.uniform(3, 7)), float(rng.uniform(8, 25))
    rise_m = 2 * half_m * float(rng.uniform(1 / 6, 1 / 2))
    radius_m = (half_m**2 + rise_m**2) / (2 * rise_m)
    xy = _strewn(rng, length_m / 2 + 8, density)
    turn = rng.uniform(0, 2 * np.pi)
    u, v = (xy @ np.column_stack([_tangent(turn), _tangent(turn + np.pi / 2)])).T
    cap = np.sqrt(np.maximum(radius_m**2 - v**2, 0)) - (radius_m - rise_m)
    inside = (np.abs(u) < length_m / 2) & (np.abs(v) < half_m)
    return _on_ground(xy, cap + rng.uniform(2, 6), inside, 0.02, rng)


def saddle(rng: np.random.Generator, density: float) -> Array:
    """A hyperbolic paraboloid over a square of 8 to 14 m whose corners rise and fall by 0.8 to 2 m."""
    half_m, lift_m = float(rng.uniform(4, 7)), float(rng.uniform(0.8, 2.0))
    xy = _strewn(rng, half_m + 8, density)
    z = 5 + lift_m * xy[:, 0] * xy[:, 1] / half_m**2
    return _on_ground(xy, z, (np.abs(xy) < half_m).all(axis=1), 0.02, rng)


def sagging(rng: np.random.Generator, density: float) -> Array:
    """A gable of 12 x 9 m whose slopes sag by 10 to 40 cm in their middle."""
    xy = _strewn(rng, 14, density)
    x, y = xy.T
    height = 3 + (4.5 - np.abs(y)) * rng.uniform(0.4, 0.9)
    sag = rng.uniform(0.1, 0.4) * np.cos(np.pi * x / 12) * np.sin(np.pi * np.abs(y) / 4.5)
    return _on_ground(xy, height - sag, (np.abs(x) < 6) & (np.abs(y) < 4.5), 0.02, rng)


SHAPES: dict[str, Callable[[np.random.Generator, float], Array]] = {
    f.__name__: f for f in (dome, vault, saddle, sagging)
}
NAMES: Sequence[str] = ("flat", "parapet", "trees", *SPOILERS, *SHAPES)
