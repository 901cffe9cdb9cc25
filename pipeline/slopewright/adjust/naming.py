"""Ids of planes and edges, as first measured; edits never change them."""

from __future__ import annotations

import numpy as np

from ..scene import Array, EdgeKind, Topology

KIND_ORDER = tuple(EdgeKind)


def letters(n: int) -> str:
    """Plane ids: A to Z, then AA, AB, ..."""
    name = ""
    n += 1
    while n:
        n, digit = divmod(n - 1, 26)
        name = chr(ord("A") + digit) + name
    return name


def plane_ids(topology: Topology, vertices: Array, area: Array) -> tuple[str, ...]:
    """Ids of the faces, largest first."""
    faces = topology.faces
    order = sorted(
        range(len(faces)),
        key=lambda f: (-round(float(area[f]), 6), *vertices[list(faces[f].loops[0])].mean(axis=0)),
    )
    return _named([letters(n) for n in range(len(faces))], order)


def edge_ids(topology: Topology, length: Array) -> tuple[str, ...]:
    """Ids of the edges, in the order of their kinds, longest first."""
    edges = topology.edges
    order = sorted(
        range(len(edges)),
        key=lambda n: (
            KIND_ORDER.index(edges[n].kind),
            -round(float(length[n]), 6),
            edges[n].start,
            edges[n].end,
        ),
    )
    return _named([f"e{n + 1}" for n in range(len(edges))], order)


def _named(names: list[str], order: list[int]) -> tuple[str, ...]:
    rank = np.argsort(order)
    return tuple(names[r] for r in rank)
