"""Cut the plan with pieces of lines into cells.  Metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from ..scene import Array
from .candidates import PlanLine

NODE_GRID_M = 1e-4  # nodes closer than this are one
SLIVER_M2 = 1e-6
PARALLEL_SINE = 0.05  # lines under 3 degrees do not stop each other


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """The bounded cells of the plan and the pieces of line between them."""

    polygons: npt.NDArray[np.object_]  # (c,) shapely polygons
    area: Array  # (c,) [m²]
    nodes: Array  # (v, 2) [m]
    piece_nodes: npt.NDArray[np.int64]  # (p, 2) each piece runs from the first node to the second
    piece_cells: npt.NDArray[np.int64]  # (p, 2) cell on its left and on its right, -1 for none
    piece_line: npt.NDArray[np.int64]  # (p,) index of the line that it lies on
    piece_length: Array  # (p,) [m]


def stations_after_extension(lines: list[PlanLine], extend_m: float, reach_m: float) -> Array:
    """Lengthen every line past its ends to the next line there.

    A piece that stops short leaves the corner open, and the whole face leaks out through it.

    Returns
    -------
    array, shape (n, 2)
        First and last station of each line [m].
    """
    normal = np.array([line.normal for line in lines])
    offset = np.array([line.offset for line in lines])
    direction = np.array([line.direction for line in lines])
    span = np.array([line.span for line in lines])
    # station on line i where line j crosses it
    sine = normal @ direction.T  # [j, i] = n_j . v_i
    foot = normal * offset[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = (offset[:, None] - normal @ foot.T) / sine
    crossing = np.where(np.abs(sine) > PARALLEL_SINE, crossing, np.nan)
    points = foot[None, :, :] + crossing[..., None] * direction[None, :, :]
    station_on_other = np.einsum("jik,jk->ji", points, direction)
    beyond = np.maximum(span[:, 0][:, None] - station_on_other, station_on_other - span[:, 1][:, None])
    meets = np.isfinite(crossing)
    there = meets & (beyond <= extend_m)  # the other line is there without being lengthened much
    maybe = meets & (beyond < reach_m)

    stations = span + np.array([-extend_m, extend_m])
    for i in range(len(lines)):
        for end, sign in ((0, -1.0), (1, 1.0)):
            past = sign * (crossing[:, i] - span[i, end])
            if (there[:, i] & (np.abs(past) <= extend_m)).any():
                continue
            ahead = (past > extend_m) & (past < reach_m)
            for usable in (there[:, i] & ahead, maybe[:, i] & ahead):
                if usable.any():
                    stations[i, end] = span[i, end] + sign * (float(past[usable].min()) + 0.05)
                    break
    return np.asarray(stations)


def cut(lines: list[PlanLine], stations: Array) -> Cells:
    """Cells that the pieces of line enclose.

    Parameters
    ----------
    lines : list of PlanLine
    stations : array, shape (n, 2)
        Where each piece of line starts and ends along its direction [m].
    """
    normal = np.array([line.normal for line in lines])
    offset = np.array([line.offset for line in lines])
    direction = np.array([line.direction for line in lines])
    foot = normal * offset[:, None]
    ends = foot[:, None, :] + stations[:, :, None] * direction[:, None, :]
    noded = shapely.union_all(shapely.linestrings(ends), grid_size=NODE_GRID_M)
    polygons = np.array(
        [p for p in shapely.get_parts(shapely.polygonize([noded])) if p.area > SLIVER_M2], dtype=object
    )
    # a canonical order, so that nothing depends on the order of the input
    if len(polygons):
        seat = shapely.get_coordinates(shapely.point_on_surface(polygons))
        polygons = polygons[np.lexsort((seat[:, 1], seat[:, 0]))]

    node_index: dict[tuple[int, int], int] = {}
    nodes: list[Array] = []
    sides: dict[tuple[int, int], list[int]] = {}
    for c, polygon in enumerate(polygons):
        for n, ring in enumerate(_rings(polygon)):
            if shapely.is_ccw(shapely.linearrings(ring)) != (n == 0):
                ring = ring[::-1]
            ids = []
            for xy in ring[:-1]:
                key = (round(xy[0] / NODE_GRID_M), round(xy[1] / NODE_GRID_M))
                if key not in node_index:
                    node_index[key] = len(nodes)
                    nodes.append(xy)
                ids.append(node_index[key])
            for a, b in zip(ids, ids[1:] + ids[:1], strict=True):
                if a == b:
                    continue
                piece = sides.setdefault((min(a, b), max(a, b)), [-1, -1])
                piece[0 if a < b else 1] = c
    where = np.array(nodes).reshape(-1, 2)
    piece_nodes = np.array(list(sides), dtype=np.int64).reshape(-1, 2)
    middle = where[piece_nodes].mean(axis=1) if len(piece_nodes) else np.empty((0, 2))
    chord = where[piece_nodes[:, 1]] - where[piece_nodes[:, 0]] if len(piece_nodes) else middle
    length = np.hypot(chord[:, 0], chord[:, 1])
    return Cells(
        polygons=polygons,
        area=shapely.area(polygons) if len(polygons) else np.empty(0),
        nodes=where,
        piece_nodes=piece_nodes,
        piece_cells=np.array(list(sides.values()), dtype=np.int64).reshape(-1, 2),
        piece_line=_line_of_pieces(middle, chord, length, normal, offset, direction, stations),
        piece_length=length,
    )


def _rings(polygon: shapely.Polygon) -> list[Array]:
    rings = [polygon.exterior, *polygon.interiors]
    return [np.asarray(shapely.get_coordinates(ring), dtype=np.float64) for ring in rings]


def _line_of_pieces(
    middle: Array,
    chord: Array,
    length: Array,
    normal: Array,
    offset: Array,
    direction: Array,
    stations: Array,
) -> npt.NDArray[np.int64]:
    """The line whose piece of the plan each piece is."""
    if len(middle) == 0:
        return np.empty(0, dtype=np.int64)
    away = np.abs(middle @ normal.T - offset)
    skew = np.abs(chord @ normal.T) / length[:, None]
    along = middle @ direction.T
    outside = np.maximum(stations[:, 0] - along, along - stations[:, 1])
    misfit = away + np.minimum(length[:, None], 1.0) * skew / 2 + np.maximum(outside, 0.0)
    return np.asarray(np.argmin(misfit, axis=1), dtype=np.int64)
