"""Eaves and rakes placed by the photos that see them: the cloud's own edges bleed outward.  Metres; z up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..scene import Array, Boundary, Notice, Segmentation, Topology
from .model import Block
from .peak import Line, best_line, shares
from .strips import Piece, Profiles, free_pieces, look

LEAST_PLACED = 2  # edges from which it is learnt what the others are off by
# How far off the cloud's edges are: moved in for bleed or not, ending some points too early or too late.
START_SD_M, START_SPACINGS = 0.06, 2.5  # own trials: 13 cm inside to 6 cm outside at 4 cm spacing
FACED_PX = 0.4  # by which a board under an edge, thin in photos from outside, draws it out; own trials
SHARED_M, SHARED_PX = 0.002, 0.15  # what all placed edges have in common: blur, bright or dark surroundings
MOVED_IN = "edges_moved_in"  # what the edges stage tells of clouds that bleed


def run(block: Block, segmentation: Segmentation, topology: Topology) -> Topology:
    """Place the free edges by the photos.

    Parameters
    ----------
    block : Block
    segmentation : Segmentation
        In the block's frame.
    topology : Topology
        As the edges stage found it in the dense cloud.

    Returns
    -------
    Topology
        Eaves and rakes that the photos show lie where these have them, however the edges stage had moved
        them; the others are moved by what the placed ones were off, with the doubt of that.  Unchanged where
        the photos place fewer than two edges.
    """
    pieces = free_pieces(segmentation, topology)
    profiles = look(block, segmentation, topology, pieces)
    start_sd_m = float(np.hypot(START_SD_M, START_SPACINGS * segmentation.spacing_m))
    found: dict[int, tuple[Line, float]] = {}
    for b in sorted({piece.boundary for piece in pieces}):
        own = [n for n, piece in enumerate(pieces) if piece.boundary == b and len(profiles[n].pixel_m)]
        if not own:
            continue
        line = _line([pieces[n] for n in own], [profiles[n] for n in own], start_sd_m)
        if line is not None:
            found[b] = line, min(float(profiles[n].pixel_m.min()) for n in own)
    if len(found) < LEAST_PLACED:
        text = (
            f"{len(found)} of {len({piece.boundary for piece in pieces})} free edges are clear in the photos:"
            " all are left where the dense cloud has them"
        )
        return replace(topology, notices=(*topology.notices, Notice(code="edges_not_in_photos", text=text)))
    return _placed(topology, found, {piece.boundary for piece in pieces})


def _line(pieces: list[Piece], profiles: list[Profiles], start_sd_m: float) -> Line | None:
    """The best line of one boundary, whose pieces are seen by different photos."""
    t = profiles[0].t
    n_photos = max(len(p.pixel_m) for p in profiles)
    share = np.full((n_photos, sum(len(p.stations) for p in pieces), len(t)), np.nan)
    column = 0
    for piece, profile in zip(pieces, profiles, strict=True):
        part = shares(profile.colour, t, profile.pixel_m)
        share[: len(part), column : column + len(piece.stations)] = part
        column += len(piece.stations)
    pixel_m = min(float(p.pixel_m.min()) for p in profiles)
    line = best_line(
        share,
        t,
        np.concatenate([piece.stations for piece in pieces]),
        np.concatenate([np.full(len(piece.stations), piece.width_m) for piece in pieces]),
        pixel_m,
        start_sd_m,
    )
    if line is None or not any(p.faced for p in profiles):
        return line
    return replace(line, covariance=line.covariance + np.diag([(FACED_PX * pixel_m) ** 2, 0.0]))


def _placed(topology: Topology, found: dict[int, tuple[Line, float]], looked_at: set[int]) -> Topology:
    """The topology with what was found, and with what follows for the edges that were not."""
    boundaries = list(topology.boundaries)
    off = np.array([line.offset_m for line, _ in found.values()])
    for b, (line, _) in found.items():
        boundaries[b] = moved(boundaries[b], line)
    shared_m = float(np.hypot(SHARED_M, SHARED_PX * np.median([pixel_m for _, pixel_m in found.values()])))
    others = [b for b, boundary in enumerate(boundaries) if b not in found and boundary.observed > 0]
    for b in others:
        boundaries[b] = _guessed(boundaries[b], off, len(others))
    notices = [notice for notice in topology.notices if notice.code != MOVED_IN]
    unclear = len(looked_at - set(found))
    if unclear:
        worst_m = max(float(np.sqrt(boundaries[b].covariance[0, 0])) for b in looked_at - set(found))
        text = (
            f"{unclear} of {len(looked_at)} free edges are not clear in the photos: they stay as the dense"
            " cloud has them, moved by what the others were off, with standard uncertainties of up to"
            f" {100 * worst_m:.0f} cm"
        )
        notices.append(Notice(code="edges_not_in_photos", text=text))
    edges = [
        replace(edge, observed=max(edge.observed, found[edge.curve.boundary][0].support))
        if edge.curve.boundary in found
        else edge
        for edge in topology.edges
    ]
    return replace(
        topology,
        boundaries=tuple(boundaries),
        edges=tuple(edges),
        bleed_sd_m=shared_m,
        notices=tuple(notices),
    )


def moved(boundary: Boundary, line: Line) -> Boundary:
    """The boundary where the photos have it."""
    normal = np.array([np.cos(boundary.angle_rad), np.sin(boundary.angle_rad)])
    along = np.array([-normal[1], normal[0]])
    # further out along the stations: the normal turns clockwise
    covariance = line.covariance * np.array([[1.0, -1.0], [-1.0, 1.0]])
    if not line.turned:
        covariance = np.diag([covariance[0, 0], float(boundary.covariance[1, 1])])
    return Boundary(
        point=boundary.point + along * line.pivot_m + normal * line.offset_m,
        angle_rad=boundary.angle_rad - line.turn_rad,
        covariance=covariance,
        observed=max(boundary.observed, line.support),
        end_seen=True,
    )


def _guessed(boundary: Boundary, off: Array, n_others: int) -> Boundary:
    """A boundary that the photos do not show, moved by what those were off that they do.

    What is left of the doubt is common to all such boundaries; as the adjustment takes each for itself, its
    variance is given to each as many times as there are boundaries.
    """
    normal = np.array([np.cos(boundary.angle_rad), np.sin(boundary.angle_rad)])
    variance = float(off.var(ddof=1)) * (1 + n_others / len(off))
    return replace(
        boundary,
        point=boundary.point + normal * float(off.mean()),
        covariance=boundary.covariance + np.diag([variance, 0.0]),
    )
