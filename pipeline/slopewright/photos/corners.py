"""A roof from marked corners alone: faces, how they meet and where they end, with the corners' covariance.

What comes out is what a cloud's planes and edges are: the next stage adjusts it and measures.  Metres,
radians; z up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from ..errors import InputError
from ..scene import (
    Array,
    Boundary,
    Corner,
    Curve,
    EdgeKind,
    Notice,
    PlaneSegment,
    PlanVertex,
    RoofPoints,
    Segmentation,
    Topology,
    TracedEdge,
    TracedFace,
)
from .cornerfaces import CORNER_SD_M, FLAT_CHANCE, Faces, find_faces, plane_through, strange_faces
from .marked import MarkedBlock, inner_constraints, scale_sd, turned
from .upright import Level

LEVEL_EDGE_SD = float(np.deg2rad(0.15))  # of eaves and ridges: 3 cm in 12 m, common of framing (from memory)
LEVEL_GATE = float(np.deg2rad(3.0))  # edges within this, and within three of the vertical's own, may be level
BENT_M = 0.25  # corners of a face further off its plane than this are not of one face
INWARD = 0.02  # share by which corners are drawn into their face, so that they count as its points
FLAT_SLOPE, LEVEL_SLOPE, LEVEL_SHARE = 0.03, 0.04, 0.2  # of edges and faces: those of traced clouds


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CornerRoof:
    """What the next stage adjusts."""

    points: RoofPoints
    segmentation: Segmentation
    topology: Topology
    scale_u: float  # standard uncertainty of lengths, relative
    tilt_u_rad: float  # of the vertical, about each of two level axes
    marked: MarkedBlock  # turned upright by what the roof itself shows


def run(marked: MarkedBlock, *, aside: frozenset[str] = frozenset(), file: str = "marks.json") -> CornerRoof:
    """The roof that marked corners make.

    Parameters
    ----------
    marked : MarkedBlock
    aside : frozenset of str
        Marks that end known lengths: corners of the roof only if they lie as high as one.
    file : str
        For messages.

    Returns
    -------
    CornerRoof

    Raises
    ------
    InputError
        If the marks do not say which faces they make, or corners of a face lie on no plane.

    Notes
    -----
    Planes and boundaries get the covariance that follows from the corners, with what moves, turns or sizes
    all of them taken out: scale and vertical are told apart, once for the whole roof.  Planes share corners
    and are correlated by that, which the next stage does not know.  What it costs was measured: over drawn
    houses the bounds hold as often as they say or more (`tests/benchmarks/marks_study.md`).
    """
    faces = find_faces(marked.names, marked.xyz, marked.covariance, aside, file)
    marked, told = _levelled(marked, faces)
    rows = list(faces.corners)
    index = np.add.outer(3 * np.array(rows), np.arange(3)).ravel()
    xyz = marked.xyz[rows]
    whole = marked.covariance[np.ix_(index, index)]
    scale_u = scale_sd(xyz, whole)
    inner = inner_constraints(xyz, scale=True)
    covariance = inner @ whole @ inner.T
    place = {j: n for n, j in enumerate(rows)}
    rings = [tuple(place[j] for j in ring) for ring in faces.rings]
    names = tuple(marked.names[j] for j in rows)
    planes, notices = _planes(rings, faces.names, names, xyz, covariance, file)
    topology = _topology(rings, planes, xyz, covariance)
    notices = (*told, *notices, *_sides_left_open(topology, planes), *_strange(rings, names, xyz))
    labels = np.concatenate([np.full(len(ring), k, dtype=np.int32) for k, ring in enumerate(rings)])
    on = np.vstack([_drawn_in(planes[k], xyz[list(ring)]) for k, ring in enumerate(rings)])
    feet = [marked.xyz[j, 2] for j, name in enumerate(marked.names) if name.endswith(".foot")]
    others = np.array([j for j in range(len(marked.xyz)) if j not in place], dtype=np.int64)
    spacing_m = float(np.median([np.linalg.norm(xyz[a] - xyz[b]) for a, b in _sides(rings)]))
    plan = _outline(rings, xyz)
    return CornerRoof(
        points=RoofPoints(
            id="r1",
            xyz=on,
            indices=np.arange(len(on), dtype=np.int64),
            context=marked.xyz[others].reshape(-1, 3).copy(),
            footprint=plan,
            area_m2=float(sum(plane.area_m2 * plane.normal[2] for plane in planes)),
            ground_z_m=float(np.mean(feet)) if feet else None,
        ),
        segmentation=Segmentation(
            planes=planes,
            labels=labels,
            noise_m=CORNER_SD_M,
            spacing_m=spacing_m,
            correlation_m=0.0,
            notices=notices,
        ),
        topology=topology,
        scale_u=scale_u,
        tilt_u_rad=float(np.sqrt(np.linalg.eigvalsh(marked.up_covariance)[-1])),
        marked=marked,
    )


def _levelled(marked: MarkedBlock, faces: Faces) -> tuple[MarkedBlock, tuple[Notice, ...]]:
    """Upright by level eaves and ridges too: those that are level within what is known so far."""
    tilt_sd = float(np.sqrt(np.linalg.eigvalsh(marked.up_covariance)[-1]))
    gate = max(LEVEL_GATE, 3 * tilt_sd)
    shape = marked.covariance
    seen = []
    for a, b in _sides(list(faces.rings)):
        way = marked.xyz[b] - marked.xyz[a]
        length = float(np.linalg.norm(way))
        if abs(way[2]) > length * np.sin(gate):
            continue
        row = np.zeros(len(shape))
        row[3 * b + 2], row[3 * a + 2] = 1 / length, -1 / length
        sd = float(np.sqrt(row @ shape @ row + 2 * (CORNER_SD_M / length) ** 2))
        what = f"the edge from {marked.names[a]} to {marked.names[b]}"
        seen.append(Level(what=what, direction=way / length, sd=float(np.hypot(sd, LEVEL_EDGE_SD))))
    if not seen:
        return marked, ()
    turned_block, refused = turned(marked, seen)
    told = tuple(
        Notice(
            code="edge_not_level",
            text=f"{what} is not level by the vertical of the others; it was not used for it",
        )
        for what in refused
    )
    return turned_block, told


def _planes(
    rings: list[tuple[int, ...]],
    faces: tuple[str, ...],
    names: tuple[str, ...],
    xyz: Array,
    covariance: Array,
    file: str,
) -> tuple[tuple[PlaneSegment, ...], tuple[Notice, ...]]:
    planes, notices = [], []
    for ring, face in zip(rings, faces, strict=True):
        b, _, own, square = plane_through(ring, xyz, covariance)
        corners = xyz[list(ring)]
        middle = np.array([*corners[:, :2].mean(axis=0), b[2]])
        rest = corners[:, 2] - b[2] - (corners[:, :2] - middle[:2]) @ b[:2]
        normal = np.array([-b[0], -b[1], 1.0])
        normal /= np.linalg.norm(normal)
        off = np.abs(rest * normal[2])
        title = f"face {face}" if face else f"the face of {', '.join(names[j] for j in ring)}"
        if off.max() > BENT_M:
            raise InputError(
                f'{file}: "{names[ring[int(off.argmax())]]}" lies {off.max():.2f} m off the plane of {title}:'
                " check that mark and its name, or divide the face"
            )
        excess = 1.0
        if len(ring) > 3 and chdtrc(len(ring) - 3, square) < FLAT_CHANCE:
            excess = square / (len(ring) - 3)
            notices.append(
                Notice(
                    code="corners_not_flat",
                    text=f"the corners of {title} lie up to {100 * off.max():.0f} cm off one plane, more than"
                    " their marks err; its bounds are wider by that",
                )
            )
        area = _area(corners)
        planes.append(
            PlaneSegment(
                centroid=middle,
                normal=normal,
                covariance=excess * own,
                n_points=len(ring),
                rms_m=float(np.sqrt(np.mean(off**2))),
                area_m2=area,
            )
        )
    return tuple(planes), tuple(notices)


def _topology(
    rings: list[tuple[int, ...]], planes: tuple[PlaneSegment, ...], xyz: Array, covariance: Array
) -> Topology:
    beside: dict[frozenset[int], list[tuple[int, int, int]]] = {}
    for k, ring in enumerate(rings):
        for a, b in zip(ring, ring[1:] + ring[:1], strict=True):
            beside.setdefault(frozenset((a, b)), []).append((k, a, b))
    boundaries: list[Boundary] = []
    edges: list[TracedEdge] = []
    curves: dict[int, list[Curve]] = {}
    gradient = [-plane.normal[:2] / plane.normal[2] for plane in planes]
    spread = covariance + CORNER_SD_M**2 * np.eye(len(covariance))
    for sides in beside.values():
        (k, a, b), *others = sides
        if others:
            other = others[0][0]
            curve = Curve(planes=(min(k, other), max(k, other)))
            kind = _crease_kind(gradient[k], gradient[other], xyz[b, :2] - xyz[a, :2])
            bounds = tuple(sorted((k, other)))
        else:
            curve = Curve(boundary=len(boundaries))
            boundaries.append(_boundary(a, b, xyz, spread))
            kind, bounds = _free_kind(gradient[k], xyz[b, :2] - xyz[a, :2]), (k,)
        edges.append(TracedEdge(kind=kind, start=a, end=b, planes=bounds, curve=curve, observed=1.0))
        for corner in (a, b):
            curves.setdefault(corner, []).append(curve)
    corners = [
        Corner(vertex=j, planes=tuple(k for k, ring in enumerate(rings) if j in ring))
        for j in range(len(xyz))
    ]
    return Topology(
        boundaries=tuple(boundaries),
        vertices=tuple(
            PlanVertex(curves=tuple(dict.fromkeys(curves[j])), xy=xyz[j, :2].copy()) for j in range(len(xyz))
        ),
        corners=tuple(corners),
        edges=tuple(edges),
        faces=tuple(TracedFace(plane=k, loops=(ring,), observed=1.0) for k, ring in enumerate(rings)),
    )


def _boundary(a: int, b: int, xyz: Array, spread: Array) -> Boundary:
    """The upright plane through two corners, the face to the left of a to b."""
    way = xyz[b, :2] - xyz[a, :2]
    length = float(np.hypot(*way))
    out = np.array([way[1], -way[0]]) / length
    design = np.zeros((2, len(spread)))
    for corner, turn in ((a, 1 / length), (b, -1 / length)):
        design[0, 3 * corner : 3 * corner + 2] = out / 2
        # out . (change of b - change of a) turns the line clockwise, and its normal with it
        design[1, 3 * corner : 3 * corner + 2] = turn * out
    return Boundary(
        point=(xyz[a, :2] + xyz[b, :2]) / 2,
        angle_rad=float(np.arctan2(out[1], out[0])),
        covariance=design @ spread @ design.T,
        observed=1.0,
    )


def _sides(rings: list[tuple[int, ...]]) -> list[tuple[int, int]]:
    """Each edge once."""
    found = {(min(a, b), max(a, b)) for ring in rings for a, b in zip(ring, ring[1:] + ring[:1], strict=True)}
    return sorted(found)


def _outline(rings: list[tuple[int, ...]], xyz: Array) -> Array:
    """The faces together in plan, (k, 2), counter-clockwise."""
    import shapely

    union = shapely.union_all([shapely.Polygon(xyz[list(ring), :2]).buffer(0.01) for ring in rings])
    largest = max(getattr(union, "geoms", [union]), key=lambda part: part.area)
    return np.array(shapely.geometry.polygon.orient(largest).exterior.coords)[:-1]


def _sides_left_open(topology: Topology, planes: tuple[PlaneSegment, ...]) -> tuple[Notice, ...]:
    """Tell free edges at the top of a face: the roof goes on there on a side that nobody marked."""
    found = []
    for edge in topology.edges:
        if edge.curve.boundary is None:
            continue
        normal = planes[edge.planes[0]].normal
        out = topology.boundaries[edge.curve.boundary].angle_rad
        fall = float(normal[:2] @ np.array([np.cos(out), np.sin(out)]))
        if fall < -0.7 * float(np.hypot(*normal[:2])) and np.hypot(*normal[:2]) > FLAT_SLOPE:
            found.append(edge)
    if not found:
        return ()
    text = (
        f"{len(found)} face(s) end at their upper edge and no face was marked beyond it: if the roof goes on"
        " there, that side is missing; mark its corners, in photos from there"
    )
    return (Notice(code="side_not_marked", text=text),)


def _strange(rings: list[tuple[int, ...]], names: tuple[str, ...], xyz: Array) -> tuple[Notice, ...]:
    """Tell faces that stand on one corner."""
    lowest = [min(rings[k], key=lambda j: xyz[j, 2]) for k in strange_faces(rings, xyz)]
    if not lowest:
        return ()
    listed = ", ".join(f'"{names[j]}"' for j in dict.fromkeys(lowest))
    text = (
        f"faces have no level edge at their lowest corner ({listed}): check that it is a corner of the roof"
    )
    return (Notice(code="corner_doubtful", text=text),)


def _crease_kind(first: Array, second: Array, along: Array) -> EdgeKind:
    """Kind of a crease with the first face to the left."""
    along = along / float(np.hypot(*along))
    inward = np.array([-along[1], along[0]])
    rise_first, rise_second = float(first @ inward), -float(second @ inward)
    level = all(
        abs(float(g @ along)) < max(LEVEL_SLOPE, LEVEL_SHARE * float(np.hypot(*g))) for g in (first, second)
    )
    if level and rise_first * rise_second <= 0:
        return EdgeKind.PITCH_BREAK
    if rise_first + rise_second < 0:
        return EdgeKind.RIDGE if level else EdgeKind.HIP
    return EdgeKind.VALLEY


def _free_kind(gradient: Array, along: Array) -> EdgeKind:
    """Kind of a free edge with the face to the left."""
    slope = float(np.hypot(*gradient))
    along = along / float(np.hypot(*along))
    inward = np.array([-along[1], along[0]])
    if slope < FLAT_SLOPE:
        return EdgeKind.EAVE
    level = abs(float(gradient @ along)) < max(LEVEL_SLOPE, LEVEL_SHARE * slope)
    return EdgeKind.EAVE if level and float(gradient @ inward) > 0 else EdgeKind.RAKE


def _drawn_in(plane: PlaneSegment, corners: Array) -> Array:
    """Corners on their plane, drawn towards the middle."""
    xy = corners[:, :2] + INWARD * (corners[:, :2].mean(axis=0) - corners[:, :2])
    gradient = -plane.normal[:2] / plane.normal[2]
    return np.column_stack([xy, plane.centroid[2] + (xy - plane.centroid[:2]) @ gradient])


def _area(corners: Array) -> float:
    away = corners - corners[0]
    return float(np.linalg.norm(np.cross(away[1:-1], away[2:]).sum(axis=0)) / 2)
