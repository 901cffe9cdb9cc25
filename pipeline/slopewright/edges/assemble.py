"""Put chains, faces and fitted boundaries together as the incidence that the next stage adjusts.  Metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..scene import Array, Curve, EdgeKind, Notice, Topology, TracedEdge, TracedFace
from .bleed import Bleed
from .classify import crease_kind, free_kind, wall_kind
from .evidence import Evidence
from .faces import is_upper, outward_of
from .fit import boundary_of
from .refit import Outline
from .support import edge_support, face_support
from .trace import corners_at

TOLD_LOST = 0.03  # share of the roof's points in no face that the result tells


def assemble(
    outline: Outline,
    evidence: Evidence,
    lost: float,
    bleed: Bleed,
) -> Topology:
    """Corners, edges with their kinds, and faces; what found no place is told.

    Parameters
    ----------
    outline : Outline
    evidence : Evidence
    lost : float
        Share of the points on planes that lie in no face.
    bleed : Bleed
        What all fitted edges are moved in by.
    """
    graph, faces, fits, sight = outline.graph, outline.faces, outline.fits, outline.sight
    corners, index = corners_at(graph)
    gradient = evidence.coefficients[:, :2]
    edges: list[TracedEdge] = []
    traced_faces = []
    done: set[int] = set()
    spacing = sight.spacing_m
    for face in faces:
        loops = []
        k = face.plane
        for vertices, walk in face.loops:
            pieces = []
            for vertex, (chain, forward) in zip(vertices, walk, strict=True):
                c = graph.chains[chain]
                inward = -outward_of(graph, chain, forward)
                bounds: tuple[int, ...] = (k,)
                if c.curve.planes is not None:
                    other = c.right if c.left == k else c.left
                    kind, bounds = crease_kind(gradient[k], gradient[other], inward), (k, other)
                elif is_upper(graph, chain, k, evidence):
                    kind = free_kind(gradient[k], inward)
                else:
                    kind = wall_kind(gradient[k], inward)
                pieces.append(
                    _Piece(vertex=vertex, kind=kind, planes=bounds, curve=c.curve, inward=inward, chain=chain)
                )
            runs = _first_of_runs(pieces)
            loops.append(tuple(index[piece.vertex, k] for piece in runs))
            for piece, following in zip(runs, runs[1:] + runs[:1], strict=True):
                if piece.curve.planes is not None:
                    if piece.chain in done:
                        continue
                    done.add(piece.chain)
                start, end = index[piece.vertex, k], index[following.vertex, k]
                xy = [graph.vertices[corners[i].vertex].xy for i in (start, end)]
                support = [
                    edge_support(
                        sight.points[p], xy[0], xy[1], piece.inward if p == k else -piece.inward, spacing
                    )
                    for p in piece.planes
                ]
                unseen = piece.curve.boundary is not None and fits[piece.curve.boundary][1] is None
                edges.append(
                    TracedEdge(
                        kind=piece.kind,
                        start=start,
                        end=end,
                        planes=tuple(sorted(piece.planes)),
                        curve=piece.curve,
                        observed=0.0 if unseen else float(np.mean(support)),
                    )
                )
        traced_faces.append(
            TracedFace(
                plane=k,
                loops=tuple(loops),
                observed=face_support(sight.points[k], face.polygon, sight.spacing_m),
            )
        )
    notices = []
    present = {int(k) for k in np.unique(evidence.labels) if k >= 0}
    missing = present - {face.plane for face in faces}
    if missing:
        notices.append(
            Notice(
                code="plane_without_face",
                text=f"{len(missing)} fitted plane(s) found no place in the plan and were left out",
            )
        )
    if lost > TOLD_LOST:
        notices.append(
            Notice(
                code="points_outside",
                text=f"{100 * lost:.0f} % of the points on planes lie outside of every face;"
                " a part of the roof may be missing",
            )
        )
    return Topology(
        boundaries=tuple(boundary_of(line, fit, bleed.shift_m) for line, fit in fits),
        vertices=graph.vertices,
        corners=tuple(corners),
        edges=tuple(edges),
        faces=tuple(traced_faces),
        bleed_sd_m=bleed.sd_m,
        notices=(*notices, *bleed.notices),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Piece:
    """One chain of a face's loop, from `vertex` on."""

    vertex: int
    kind: EdgeKind
    planes: tuple[int, ...]
    curve: Curve
    inward: Array
    chain: int


def _first_of_runs(pieces: list[_Piece]) -> list[_Piece]:
    """First piece of every run of a loop that is one edge: one boundary, one kind, without a break."""
    starts = [
        piece
        for before, piece in zip(pieces[-1:] + pieces[:-1], pieces, strict=True)
        if piece.curve.boundary is None or before.curve != piece.curve or before.kind != piece.kind
    ]
    return starts if len(starts) >= 3 else pieces
