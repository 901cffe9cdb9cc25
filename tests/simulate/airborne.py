"""Clouds as an aircraft's laser scanner gives them.  Metres; z is up.

A part of the noise is common to neighbours (range drift, attitude), so that averaging a face does not
remove it; at edges the beam is wider than the edge is sharp; strips differ by more than their noise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from slopewright.scene import Array, Labels

from .cast import World, bump_ground, first_hits, outlines, through_trees, world_of
from .fields import smooth_field
from .sim_cloud import SimCloud
from .surroundings import TREE, Surroundings, bare
from .truth import TrueRoof

PULSE_M = 0.7  # returns closer than this along the beam merge: about a 4.5 ns pulse; common practice
DETECT = (0.15, 0.5)  # range of the share of energy that makes a return; own assumption, see `airborne`
FLIGHT_M = 800.0  # height of the aircraft above ground
LOOK_MAX_RAD = math.radians(15)
TALL_M = 15.0  # nothing in a scene is taller
N_BEAM = 32  # sub-beams of equal energy that a beam on an edge is made of


def airborne(
    roof: TrueRoof,
    rng: np.random.Generator,
    *,
    density: float = 8.0,
    noise_m: float = 0.05,
    correlated: float = 0.3,
    correlation_m: float = 1.5,
    looks_rad: Sequence[float] | None = None,
    strip_lift_m: float = 0.03,
    strip_shift_m: float = 0.05,
    strip_tilt_rad: float = 0.0,
    line_ratio: float | None = None,
    beam_m: float = 0.25,
    detect: float | None = None,
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
    strip_tilt_rad : float
        Standard deviation of each strip's own lean, about the roof's middle, in either direction.
    line_ratio : float, optional
        Spacing of the scan lines over that of the pulses along them; drawn from 0.75 to 1.33 if not given.
    looks_rad : sequence of float, optional
        One strip each: the angle from the vertical at which the roof's middle is seen.  Drawn from
        -15 to 15 degrees for two strips if not given.  What lies behind the roof is in its shadow.
    beam_m : float
        Footprint of the beam (1/e² diameter) [m].  A beam on an edge gives two returns if its parts are
        more than 0.7 m apart, else one at their mean; both lie on the beam's axis.
    detect : float, optional
        Least share of the beam's energy that makes a return of its own.  Below a half, roofs come out
        too large all round: by 6 cm for 0.15 and a beam of 0.25 m.  It depends on the instrument and on
        how dark the roof is, which the user of a cloud does not know; drawn from 0.15 to 0.5 if not given.
    margin_m : float
        Width of the scene around the roof's bounding box [m].
    """
    scene = world_of(roof, surroundings or bare(roof))
    parts = []
    looks = rng.uniform(-LOOK_MAX_RAD, LOOK_MAX_RAD, 2) if looks_rad is None else looks_rad
    least = float(rng.uniform(*DETECT)) if detect is None else detect
    for strip, look in enumerate(looks):
        g, s = _scan_lines(roof, rng, density / len(looks), look, margin_m, line_ratio)
        returns = _returns(scene, g, s, beam_m, least, rng)
        framed = _framed(returns[0], roof, margin_m)
        xyz, label, n_returns, number = (values[framed] for values in returns)
        drift = np.sqrt(correlated) * smooth_field(xyz, rng, length_m=correlation_m, smoothness=0.5)
        noise = noise_m * (drift + np.sqrt(1 - correlated) * rng.normal(size=len(xyz)))
        xyz[:, 2] += noise + rng.normal(0, strip_lift_m)
        xyz[:, :2] += rng.normal(0, strip_shift_m, 2)
        parts.append((xyz, label, np.full(len(xyz), strip, dtype=np.uint8), n_returns, number))
    # after all else, so that a scan without lean is the same scan
    middle = np.array(roof.footprint.centroid.coords[0])
    for (xyz, *_), lean in zip(parts, rng.normal(0, strip_tilt_rad, (len(parts), 2)), strict=True):
        xyz[:, 2] += (xyz[:, :2] - middle) @ lean
    xyz, label, strip_of, n_returns, number = (np.concatenate(part) for part in zip(*parts, strict=True))
    return SimCloud(xyz=xyz, label=label, strip=strip_of, n_returns=n_returns, return_number=number)


def _scan_lines(
    roof: TrueRoof,
    rng: np.random.Generator,
    density: float,
    look_rad: float,
    margin_m: float,
    line_ratio: float | None,
) -> tuple[Array, Array]:
    """Rays of one strip: straight parallel scan lines, pulses evenly spaced along them."""
    x0, y0, x1, y1 = roof.footprint.bounds
    centre = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    heading = rng.uniform(0, 2 * np.pi)
    along = np.array([np.cos(heading), np.sin(heading)])
    across = np.array([-along[1], along[0]])
    reach = np.hypot(x1 - x0, y1 - y0) / 2 + 1.5 * margin_m + 0.5 * TALL_M
    stretch = rng.uniform(0.75, 1.33) if line_ratio is None else line_ratio
    line_m, pulse_m = np.sqrt(stretch / density), np.sqrt(1 / (stretch * density))
    u, v = np.meshgrid(np.arange(-reach, reach, pulse_m), np.arange(-reach, reach, line_m))
    u = u + rng.uniform(0, pulse_m, (len(u), 1)) + rng.normal(0, 0.1 * pulse_m, u.shape)
    v = v + rng.uniform(0, line_m) + rng.normal(0, 0.03 * line_m, v.shape)
    g = centre + u.reshape(-1, 1) * across + v.reshape(-1, 1) * along
    wide = margin_m + TALL_M * np.tan(abs(look_rad) + 0.1)  # what stands in the frame is seen past it
    inside = (g > np.array([x0, y0]) - wide) & (g < np.array([x1, y1]) + wide)
    rows = inside.all(axis=1) & (rng.random(len(g)) > 0.02)  # 2 % of the pulses give no return
    nadir_offset = FLIGHT_M * np.tan(look_rad)
    s = -(u.ravel()[rows, None] + nadir_offset) / FLIGHT_M * across
    return g[rows] - s * roof.ground_z_m, s


def _framed(xyz: Array, roof: TrueRoof, margin_m: float) -> npt.NDArray[np.bool_]:
    """Points of the scene: in the roof's bounding box, widened."""
    x0, y0, x1, y1 = roof.footprint.bounds
    inside = (xyz[:, :2] > np.array([x0, y0]) - margin_m) & (xyz[:, :2] < np.array([x1, y1]) + margin_m)
    return inside.all(axis=1)


def _returns(
    scene: World, g: Array, s: Array, beam_m: float, detect: float, rng: np.random.Generator
) -> tuple[Array, Labels, npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    """Points of all pulses, one or two where the beam is on an edge; returns of the pulse, which of them."""
    z, label = first_hits(scene, g, s)
    split = np.flatnonzero(_on_edges(scene, g, s, beam_m))
    second = np.full(len(g), np.nan)
    second_label = np.zeros(len(g), dtype=np.int32)
    if len(split):
        mixed = _mixed(scene, g[split], s[split], beam_m, detect)
        z[split], label[split], second[split], second_label[split] = mixed
    through_trees(scene, g, s, z, label, rng.exponential(0.7, len(g)))
    second[label == TREE] = np.nan
    two = np.isfinite(second)
    rows = np.concatenate([np.arange(len(g)), np.flatnonzero(two)])
    z, label = np.concatenate([z, second[two]]), np.concatenate([label, second_label[two]])
    xyz = np.column_stack([g[rows] + s[rows] * z[:, None], z])
    bump_ground(scene, xyz, label, rng)
    n_returns = np.where(two, 2, 1).astype(np.uint8)[rows]
    number = np.repeat(np.array([1, 2], dtype=np.uint8), [len(g), np.count_nonzero(two)])
    return xyz, label, n_returns, number


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


def _mixed(
    scene: World, g: Array, s: Array, beam_m: float, detect: float
) -> tuple[Array, Labels, Array, Labels]:
    """First and second return of beams that are wider than a point; nan where there is no second."""
    hits = [first_hits(scene, g + offset, s) for offset in _sub_beams(beam_m)]
    z = np.stack([hit[0] for hit in hits], axis=1)
    label = np.stack([hit[1] for hit in hits], axis=1)
    order = np.argsort(-z, axis=1)
    z, label = np.take_along_axis(z, order, axis=1), np.take_along_axis(label, order, axis=1)
    gaps = z[:, :-1] - z[:, 1:]
    apart = gaps.max(axis=1) > PULSE_M
    near = np.arange(N_BEAM) <= gaps.argmax(axis=1)[:, None]
    share = near.mean(axis=1)
    near_seen, far_seen = apart & (share >= detect), apart & (1 - share >= detect)
    # one return of the whole beam, or of the part that is seen, or one of each part
    first_part = np.where((apart & near_seen)[:, None], near, np.where(apart[:, None], ~near, True))
    both = near_seen & far_seen
    first, first_label = _mean(z, label, first_part)
    second, second_label = _mean(z, label, np.where(both[:, None], ~near, True))
    second[~both] = np.nan
    return first, first_label, second, second_label


def _sub_beams(beam_m: float) -> Array:
    """Offsets (k, 2) [m] of parts of equal energy of a Gaussian beam, laid out as a sunflower.

    Within r beam radii is 1 - exp(-2 r²) of the energy, the diameter being that of 1/e² intensity.
    """
    energy = (np.arange(N_BEAM) + 0.5) / N_BEAM
    radius = beam_m / 2 * np.sqrt(-np.log(1 - energy) / 2)
    turn = np.arange(N_BEAM) * np.pi * (3 - np.sqrt(5))
    offsets = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    return offsets - offsets.mean(axis=0)  # so that a beam within a face has its height on its axis


def _mean(z: Array, label: Labels, part: npt.NDArray[np.bool_]) -> tuple[Array, Labels]:
    """Mean height of a part of each row, and the label that is most of it."""
    mean = (z * part).sum(axis=1) / part.sum(axis=1)
    kinds = np.unique(label)
    votes = [(part & (label == k)).sum(axis=1) for k in kinds]
    return mean, kinds[np.argmax(votes, axis=0)].astype(np.int32)
