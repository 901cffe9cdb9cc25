"""How far all free edges of a cloud lie outside the roof's own: what no single edge can tell.  Metres; z up.

Matching windows grow surfaces past their edges, and round creases off: a cloud with rounded creases is
matched.  Wide beams return from an edge as long as enough of them is on it; pulses of several returns tell
how long that is (see `beam`), and without them it is not known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..scene import Array, Notice, RoofPoints, Segmentation
from .evidence import Evidence
from .settle import Graph

# Matched photos: 2 to 7 cm, all alike (a study of drone clouds made for this program; from memory).
MATCHED_M, MATCHED_SD_M = 0.045, 0.015
SHARP_SD_M = 0.01  # close scans: shingles that stand over, gutters
# Both sides of an edge need about the same share of a beam, but not quite: a roof half as bright as ground
# needs twice the share and comes out 1.7 cm inside at a beam of 0.25 m.  Taken as a bad case.
RETURNS_SD_M = 0.01
# Beams of 0.15 to 0.4 m whose roof returns need 15 to 50 % of the energy add 0 to 10 cm, 3 cm in the mean; if
# each pulse goes to what most of it met, nothing is added.  Nothing in the cloud tells: no edge is moved for
# it, the doubt is wide enough for either.  Own assumption.
BEAM_SD_M = 0.035
# How unsharp edges are is guessed, alike for all: sharp ones come out inside, by 1.3 cm at 4 points/m² and
# 0.7 cm at 25 (simulated; see tests/edges/test_step.py).
INSIDE_SHARE = 0.025  # of the spacing of points
MATCHED_ODDS = 0.7  # prior share of matched clouds among dense ones that count no returns; own assumption
ROUND_M = np.linspace(0.04, 0.20, 17)  # half-widths of rounded creases, all alike: windows of 4 to 20 cm
NEAR_M, FAR_M = 0.05, (0.20, 0.35)  # from a crease: rounded, and not
FAR_OFF_M = 0.25  # points further from both planes are chimneys and trees
CHUNK_M = 0.7  # of a crease; the noise of matched clouds is correlated about so far
ROUND_FLOOR = 0.001  # standard uncertainty of a height over the jump of slope that no chunk shows [m]
LEAST_JUMP = 0.2  # of slope at a crease that shows roundness; under it the deficit drowns in noise
LEAST_CHUNKS = 4
LEAST_POINTS = 4  # on each side and at the crease, for a chunk to be looked at
TOLD_M = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Bleed:
    """What all free edges have in common."""

    shift_m: float  # outward, expected
    sd_m: float  # standard uncertainty about it
    notices: tuple[Notice, ...] = ()


def common_bleed(points: RoofPoints, graph: Graph, evidence: Evidence, segmentation: Segmentation) -> Bleed:
    """The shift that all free edges share, from what kind of cloud this is.

    Parameters
    ----------
    points : RoofPoints
    graph : Graph
        Whose creases are looked at.
    evidence : Evidence
    segmentation : Segmentation
    """
    inside_m = INSIDE_SHARE * segmentation.spacing_m
    if points.n_returns is not None:
        return Bleed(shift_m=0.0, sd_m=float(np.hypot(RETURNS_SD_M, inside_m)))
    if not segmentation.dense:
        sd_m = float(np.hypot(BEAM_SD_M, inside_m))
        text = (
            "the cloud does not count the returns of its pulses: what a wide beam adds to all free edges is"
            f" not known, and carried as a common standard uncertainty of {100 * sd_m:.1f} cm"
        )
        return Bleed(shift_m=0.0, sd_m=sd_m, notices=(Notice(code="no_returns", text=text),))
    share = matched_share(roundness(points.xyz, graph, evidence.coefficients))
    variance = share * MATCHED_SD_M**2 + (1 - share) * SHARP_SD_M**2 + share * (1 - share) * MATCHED_M**2
    shift_m, sd_m = share * MATCHED_M, float(np.sqrt(variance))
    text = (
        f"{100 * share:.0f} % likely, by its creases, to be matched from photos: free edges were moved in by"
        f" {100 * shift_m:.1f} cm with a common standard uncertainty of {100 * sd_m:.1f} cm"
    )
    told = (Notice(code="edges_moved_in", text=text),) if shift_m >= TOLD_M else ()
    return Bleed(shift_m=shift_m, sd_m=sd_m, notices=told)


def roundness(xyz: Array, graph: Graph, coefficients: Array) -> Array:
    """How far the surface at a crease is from where its planes meet, and the jump of slope there.

    Down at a ridge and up at a valley count as positive.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Points of the roof [m].
    graph : Graph
    coefficients : array, shape (k, 3)
        Of z = a x + b y + c.

    Returns
    -------
    array, shape (m, 2)
        Drop [m] and jump [1] of each chunk of crease that shows it.
    """
    found = []
    for chain in graph.chains:
        if chain.curve.planes is None:
            continue
        start, end = graph.vertices[chain.start].xy, graph.vertices[chain.end].xy
        length = float(np.hypot(*(end - start)))
        if length < 2 * CHUNK_M:
            continue
        along = (end - start) / length
        left = np.array([-along[1], along[0]])
        jump = float((coefficients[chain.right] - coefficients[chain.left])[:2] @ left)
        if abs(jump) < LEAST_JUMP:
            continue
        # The box holds what is near whatever way the crease runs.
        low, high = np.minimum(start, end) - FAR_M[1], np.maximum(start, end) + FAR_M[1]
        close = xyz[((xyz[:, :2] > low) & (xyz[:, :2] < high)).all(axis=1)]
        s, d = (close[:, :2] - start) @ along, (close[:, :2] - start) @ left
        both = coefficients[[chain.left, chain.right]]
        above = close[:, 2:] - np.column_stack([close[:, :2], np.ones(len(close))]) @ both.T
        n_chunks = int(length / CHUNK_M)
        chunk = np.floor(s / length * n_chunks)
        on_roof = np.abs(np.where(d > 0, above[:, 0], above[:, 1])) < FAR_OFF_M
        for n in range(n_chunks):
            here = on_roof & (chunk == n)
            sides = [
                above[here & (way * d > FAR_M[0]) & (way * d < FAR_M[1]), k] for k, way in enumerate((1, -1))
            ]
            near = above[here & (np.abs(d) < NEAR_M)]
            if min(len(near), *map(len, sides)) < LEAST_POINTS:
                continue
            # The planes as they lie here: else the crease itself is some millimetres beside its place.
            near = near - [float(side.mean()) for side in sides]
            drop = -near.max(axis=1) if jump > 0 else near.min(axis=1)
            found.append((float(drop.mean()), abs(jump)))
    return np.array(found).reshape(-1, 2)


def matched_share(chunks: Array) -> float:
    """Probability that a cloud with this `roundness`, shape (m, 2), is matched.

    Notes
    -----
    A crease of unit jump of slope that is smoothed with a box of half-width h lies (h² + d²) / 4h - d / 2
    lower at a distance d < h from it.
    """
    if len(chunks) < LEAST_CHUNKS:
        return MATCHED_ODDS
    drop, jump = chunks.T
    mean = float(drop @ jump) / float(jump @ jump)
    spread = (drop - mean * jump).std(ddof=1) / np.sqrt(jump @ jump)
    sd = float(np.hypot(spread, ROUND_FLOOR))
    expected = _expected_drop()
    log_round = -0.5 * ((mean - expected) / sd) ** 2
    log_sharp = -0.5 * (mean / sd) ** 2
    top = max(float(log_round.max()), log_sharp)
    matched = MATCHED_ODDS * float(np.exp(log_round - top).mean())
    return matched / (matched + (1 - MATCHED_ODDS) * float(np.exp(log_sharp - top)))


def _expected_drop() -> Array:
    """Mean drop within `NEAR_M` of a crease over the jump of slope, for each of `ROUND_M` [m]."""
    d = np.linspace(0.0, NEAR_M, 51)
    h = ROUND_M[:, None]
    return np.asarray(np.where(d < h, (h * h + d * d) / (4 * h) - d / 2, 0.0).mean(axis=1))
