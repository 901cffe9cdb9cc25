"""What lies beyond the free edges of a roof: that it ends there is seen only if something lower is.

An edge beyond which nothing was scanned may be where the cloud ends, and one beyond which a tree stands
may be where the tree begins.  Metres.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..roof import Plane, Roof
from ..scene import Array, EdgeKind, Notice, RoofPoints, Segmentation
from .face import over_plane

FREE = (EdgeKind.EAVE, EdgeKind.RAKE, EdgeKind.PARAPET, EdgeKind.UNKNOWN)
REACH_M = 2.5  # one looks so far outward; context is collected for 3 m
SKIN_M = 0.15  # nearer than this a point may hang on the edge itself
LOWER_M = 0.3  # what lies so far below the plane's extension ends the roof: gutters and noise do not
CHUNK_M = 0.75  # along the edge, or ...
CHUNK_SPACINGS = 3.0  # ... so many spacings
END_SHARE = 0.1  # of all free edges' length whose end is not seen: more, and the area rests on guesses
UPSTAND_REACH_M, UPSTAND_M = 0.6, (0.15, 1.5)  # beside an edge, so far above the plane, a parapet stands
UPSTAND_SHARE = 0.4  # of all free edges with something there: it is no tree
ALL_SHARE = 0.7  # without anything beyond: the cloud was cut along the roof, which must be taken on trust


@dataclass(frozen=True, slots=True, kw_only=True)
class _Side:
    """A free edge, and the length of it beyond which there is nothing, and only what is as high."""

    edge: str
    length_m: float
    empty_m: float
    covered_m: float
    upstand_m: float  # beside which something stands up a little


def beyond(points: RoofPoints, segmentation: Segmentation, roof: Roof) -> tuple[Notice, ...]:
    """Tell the edges whose end was not seen.

    Parameters
    ----------
    points : RoofPoints
    segmentation : Segmentation
    roof : Roof

    Returns
    -------
    tuple of Notice
        "cloud_ends" or "under_cover" if they are much of the outline; "outline_on_trust" if nothing at all
        was scanned around the roof.
    """
    everything = np.vstack([points.xyz, points.context])
    sides = [side for edge in _free(roof) if (side := _side(edge, roof, everything, segmentation.spacing_m))]
    seen = _end_seen(roof)
    sides = [replace(side, empty_m=0.0) if side.edge in seen else side for side in sides]
    whole_m = sum(side.length_m for side in sides)
    if whole_m == 0:
        return ()
    found = []
    upstand_m = sum(side.upstand_m for side in sides)
    if upstand_m > UPSTAND_SHARE * whole_m:
        text = (
            f"something stands up at {upstand_m:.1f} m of {whole_m:.1f} m of free edges, a parapet perhaps:"
            " the roof is measured up to it or to its outer edge, whichever the points show"
        )
        found.append(Notice(code="upstand", text=text))
    empty_m = sum(side.empty_m for side in sides)
    covered_m = sum(side.covered_m for side in sides)
    if empty_m > ALL_SHARE * whole_m:
        text = (
            "next to nothing was scanned around the roof: that it ends where the cloud does is taken on trust"
        )
        return (*found, Notice(code="outline_on_trust", text=text))
    if empty_m > END_SHARE * whole_m:
        found.append(
            Notice(
                code="cloud_ends",
                text=f"nothing was scanned beyond {empty_m:.1f} m of {whole_m:.1f} m of free edges:"
                " the roof may go on there",
                about=tuple(side.edge for side in sides if side.empty_m > side.length_m / 2),
            )
        )
    if covered_m > END_SHARE * whole_m:
        found.append(
            Notice(
                code="under_cover",
                text=f"trees or other things stand over {covered_m:.1f} m of {whole_m:.1f} m of free edges:"
                " the roof may go on under them",
                about=tuple(side.edge for side in sides if side.covered_m > side.length_m / 2),
            )
        )
    return tuple(found)


def _end_seen(roof: Roof) -> frozenset[str]:
    """Free edges of which photos show that the roof ends there."""
    if roof.state is None:
        return frozenset()
    topology = roof.state.topology
    return frozenset(
        name
        for name, edge in zip(roof.state.edge_ids, topology.edges, strict=True)
        if edge.curve.boundary is not None and topology.boundaries[edge.curve.boundary].end_seen
    )


def _free(roof: Roof) -> list[tuple[str, Plane, Array, Array]]:
    """Free edges: id, plane, and both ends with the plane to the left."""
    steps = {}
    for plane in roof.planes:
        for loop in plane.loops:
            for start, end in zip(loop, loop[1:] + loop[:1], strict=True):
                steps[start, end] = plane
    found = []
    for edge in roof.edges:
        if edge.kind not in FREE:
            continue
        for start, end in ((edge.start, edge.end), (edge.end, edge.start)):
            if (start, end) in steps:
                found.append((edge.id, steps[start, end], roof.vertices[start], roof.vertices[end]))
                break
    return found


def _side(
    edge: tuple[str, Plane, Array, Array], roof: Roof, everything: Array, spacing_m: float
) -> _Side | None:
    name, plane, start, end = edge
    step = end[:2] - start[:2]
    length_m = float(np.hypot(*step))
    if length_m < 1e-6:
        return None
    along = step / length_m
    out = np.array([along[1], -along[0]])
    offset = everything[:, :2] - start[:2]
    t, s = offset @ out, offset @ along
    along_it = (s > 0) & (s < length_m)
    near = (t > SKIN_M) & (t < REACH_M) & along_it
    n_chunks = max(1, int(length_m / max(CHUNK_M, CHUNK_SPACINGS * spacing_m)))
    at_edge = np.flatnonzero((np.abs(t) < UPSTAND_REACH_M) & along_it)
    over_m = over_plane(plane, everything[at_edge])
    at_edge = at_edge[(over_m > UPSTAND_M[0]) & (over_m < UPSTAND_M[1])]
    upstand = _any(np.minimum((s[at_edge] / length_m * n_chunks).astype(np.int64), n_chunks - 1), n_chunks)
    chunk = np.minimum((s[near] / length_m * n_chunks).astype(np.int64), n_chunks - 1)
    lower = over_plane(plane, everything[near]) < -LOWER_M
    ended = _any(chunk[lower], n_chunks)
    covered = _any(chunk[~lower], n_chunks) & ~ended
    per_chunk_m = float(np.linalg.norm(end - start)) / n_chunks
    return _Side(
        edge=name,
        length_m=per_chunk_m * n_chunks,
        empty_m=per_chunk_m * float((~ended & ~covered).sum()),
        covered_m=per_chunk_m * float(covered.sum()),
        upstand_m=per_chunk_m * float(upstand.sum()),
    )


def _any(chunk: npt.NDArray[np.int64], n_chunks: int) -> npt.NDArray[np.bool_]:
    """Chunks that hold a point."""
    return np.bincount(chunk, minlength=n_chunks) > 0
