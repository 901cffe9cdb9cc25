"""One plane that is two, divided along a line of the plan."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.special import chdtrc

from ..errors import InputError
from ..scene import Array, Boundary, Curve, Notice, PlaneSegment, TracedEdge, TracedFace
from ..state import FixLength, RoofState, SplitPlane
from .measure import Solution
from .merge import moved
from .net import Net, sides

SNAP_M = 0.15  # a line drawn by hand that ends this near a corner ends in it
DIFFER = 0.01  # chance that the parts of one plane are taken for two
NEAR_M = 0.5  # how far from the line the parts' crease may lie, at the roof's outline
LEAST_CELLS = 6  # of points in a part, for a plane of its own


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cut:
    """Where the line meets a loop: at a corner, or on the side that leaves it."""

    at: int  # position in the outer loop
    xy: tuple[float, float]
    corner: bool


def split(state: RoofState, edit: SplitPlane, solution: Solution) -> RoofState:
    """The state with a face divided in two.

    The parts get planes of their own where their points tell them apart; else they stay one plane with two
    faces.

    Raises
    ------
    InputError
        If the line does not cross the face, or the parts' planes meet elsewhere.
    """
    net = Net(state)
    face = net.faces[edit.plane]
    vertices = solution.vertices
    first, last = _cuts(face, vertices, edit)
    loop = face.loops[0]
    ring = vertices[list(loop), :2]
    left_ring, right_ring = _rings(ring, first, last)
    regions = [shapely.Polygon(left_ring), shapely.Polygon(right_ring)]
    if min(region.area for region in regions) <= 0:
        raise InputError(f"plane {edit.plane}: the line cuts nothing off it, draw it across")
    k = face.plane
    parts = _two_planes(state, k, regions, (np.array(first.xy), np.array(last.xy)), edit)
    k2 = k
    if parts is not None:
        k2 = len(net.planes)
        mine = shapely.contains_xy(regions[1], *net.cells[k][:, 1:3].T)
        net.planes[k] = parts[0]
        net.planes.append(parts[1])
        net.cells.append(net.cells[k][mine])
        net.cells[k] = net.cells[k][~mine]
        curve = Curve(planes=(k, k2))
    else:
        curve = Curve(boundary=len(net.boundaries))
        net.boundaries.append(_drawn(first, last, edit.u_m))
        net.remarks.append(
            Notice(
                code="split_alike",
                text=f"the parts of {edit.plane} are one plane as far as points tell: both have its pitch",
                about=(edit.plane,),
            )
        )
    _divide(net, edit, (first, last), regions, curve, k2)
    return net.closed()


def _cuts(face: TracedFace, vertices: Array, edit: SplitPlane) -> tuple[_Cut, _Cut]:
    """Where the line through both spots enters and leaves the face around their middle."""
    start, end = np.array(edit.start), np.array(edit.end)
    length = float(np.hypot(*(end - start)))
    if not length > 0:
        raise InputError(f"plane {edit.plane}: the line starts where it ends, need two spots")
    along = (end - start) / length
    across = np.array([-along[1], along[0]])
    loop = face.loops[0]
    xy = vertices[list(loop), :2] - (start + end) / 2
    s, t = xy @ along, xy @ across
    t = np.where(np.abs(t) < SNAP_M, 0.0, t)
    found: list[tuple[float, _Cut]] = []
    for n in range(len(loop)):
        after = (n + 1) % len(loop)
        if t[n] == 0.0:
            found.append((float(s[n]), _Cut(at=n, xy=_spot(vertices[loop[n]]), corner=True)))
        elif t[n] * t[after] < 0:
            share = t[n] / (t[n] - t[after])
            spot = vertices[loop[n]] + share * (vertices[loop[after]] - vertices[loop[n]])
            found.append((float(s[n] + share * (s[after] - s[n])), _Cut(at=n, xy=_spot(spot), corner=False)))
    before = [cut for cut in found if cut[0] <= 0]
    beyond = [cut for cut in found if cut[0] > 0]
    if not before or not beyond:
        raise InputError(f"plane {edit.plane}: the line does not cross it, draw it from edge to edge")
    a, b = max(before, key=lambda cut: cut[0])[1], min(beyond, key=lambda cut: cut[0])[1]
    line = shapely.LineString([a.xy, b.xy])
    rings = [vertices[list(ring), :2] for ring in face.loops]
    inside = shapely.Polygon(rings[0], rings[1:])
    if not inside.buffer(SNAP_M / 2).contains(line):
        raise InputError(
            f"plane {edit.plane}: the line leaves it or crosses a hole, draw it from edge to edge"
        )
    return (a, b) if a.at <= b.at else (b, a)


def _spot(point: Array) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def _rings(ring: Array, first: _Cut, last: _Cut) -> tuple[Array, Array]:
    """Rings of the part from the second cut round to the first, and of the one between them."""
    n = len(ring)
    inner = [i for i in range(first.at + 1, last.at + 1) if not (last.corner and i == last.at)]
    outer = [i % n for i in range(last.at + 1, first.at + n + 1)]
    outer = [i for i in outer if not (first.corner and i == first.at)]
    one = np.array([first.xy, last.xy, *(ring[i] for i in outer)])
    other = np.array([last.xy, first.xy, *(ring[i] for i in inner)])
    return one, other


def _two_planes(
    state: RoofState,
    k: int,
    regions: list[shapely.Polygon],
    ends: tuple[Array, Array],
    edit: SplitPlane,
) -> tuple[PlaneSegment, PlaneSegment] | None:
    """Fits to the points of both parts, or None where one plane explains them.

    Notes
    -----
    Each part's covariance is that of cells of equal weight, scaled so that the same rule gives no less than
    the whole plane's stated covariance in any direction.
    """
    cells = state.cells[k]
    whole = state.planes[k]
    inside = [shapely.contains_xy(shapely.buffer(region, -0.25), *cells[:, 1:3].T) for region in regions]
    if min(int(mine.sum()) for mine in inside) < LEAST_CELLS:
        return None
    normal_matrix = _normal_matrix(cells, whole.centroid[:2])
    scale = float(np.linalg.eigvals(whole.covariance @ normal_matrix).real.max())
    fits = [_fit(cells[mine], whole, scale) for mine in inside]
    if any(fit is None for fit in fits):
        return None
    one, other = fits[0], fits[1]
    assert one is not None and other is not None
    middle = (ends[0] + ends[1]) / 2
    (x1, c1), (x2, c2) = moved(one, middle), moved(other, middle)
    difference = x1 - x2
    if chdtrc(3, float(difference @ np.linalg.solve(c1 + c2, difference))) > DIFFER:
        return None
    steepness = float(np.hypot(*difference[:2]))
    across = np.array([-(ends[1] - ends[0])[1], (ends[1] - ends[0])[0]])
    across = across / np.hypot(*across)
    gap = [abs(difference[2] + difference[:2] @ (end - middle)) for end in ends]
    slope = abs(float(difference[:2] @ across))
    away = max(gap) / slope if slope > 0.2 * steepness else np.inf
    if away > NEAR_M:
        raise InputError(
            f"plane {edit.plane}: its parts do not meet along the line"
            + (
                f" but up to {away:.1f} m from it, draw it there"
                if np.isfinite(away)
                else ", draw it elsewhere"
            )
        )
    return one, other


def _normal_matrix(cells: Array, xy: Array) -> Array:
    design = np.column_stack([cells[:, 1:3] - xy, np.ones(len(cells))])
    return design.T @ design


def _fit(cells: Array, whole: PlaneSegment, scale: float) -> PlaneSegment | None:
    """Plane of the cells' means, as a correction of the whole plane; None if they lie on a line."""
    slope = -whole.normal[:2] / whole.normal[2]
    centre = cells[:, 1:3].mean(axis=0)
    design = np.column_stack([cells[:, 1:3] - centre, np.ones(len(cells))])
    matrix = design.T @ design
    if np.linalg.cond(matrix) > 1e6:
        return None
    height = whole.centroid[2] + (cells[:, 1:3] - whole.centroid[:2]) @ slope
    change = np.linalg.solve(matrix, design.T @ (cells[:, 3] - height))
    slope = slope + change[:2]
    z = float(whole.centroid[2] + (centre - whole.centroid[:2]) @ (slope - change[:2]) + change[2])
    normal = np.array([-slope[0], -slope[1], 1.0])
    share = float(cells[:, 0].sum())
    return PlaneSegment(
        centroid=np.array([*centre, z]),
        normal=normal / np.linalg.norm(normal),
        covariance=scale * np.linalg.inv(matrix),
        n_points=int(share),
        rms_m=whole.rms_m,
        area_m2=whole.area_m2 * share / max(whole.n_points, 1),
    )


def _drawn(first: _Cut, last: _Cut, u_m: float) -> Boundary:
    """The line as it was drawn; its normal points from the part that keeps the plane's row."""
    along = np.array(last.xy) - np.array(first.xy)
    length = float(np.hypot(*along))
    return Boundary(
        point=(np.array(first.xy) + np.array(last.xy)) / 2,
        angle_rad=float(np.arctan2(-along[0], along[1])),
        covariance=np.diag([u_m**2 / 2, 2 * (u_m / length) ** 2]),
        observed=0.0,
        inferred_from="a line drawn by hand",
    )


def _divide(
    net: Net,
    edit: SplitPlane,
    cuts: tuple[_Cut, _Cut],
    regions: list[shapely.Polygon],
    curve: Curve,
    k2: int,
) -> None:
    """Put the dividing edge into the incidence."""
    face = net.faces[edit.plane]
    k, loop = face.plane, face.loops[0]
    ends: list[int] = []
    put: dict[int, int] = {}  # new corners by the position of the side they divide
    for cut in cuts:
        if cut.corner:
            corner = loop[cut.at]
            old = net.corners[corner]
            net.corners[corner] = replace(old, planes=tuple(sorted({*old.planes, k2})))
            net.curves[old.vertex].append(curve)
        else:
            corner = _cut_side(net, (loop[cut.at], loop[(cut.at + 1) % len(loop)]), cut.xy, curve, {k, k2})
            put[cut.at] = corner
        ends.append(corner)
    full: list[int] = []
    for n, corner in enumerate(loop):
        full += [corner, put[n]] if n in put else [corner]
    a, b = full.index(ends[0]), full.index(ends[1])
    between, around = tuple(full[a : b + 1]), tuple(full[b:] + full[: a + 1])
    holes: list[list[tuple[int, ...]]] = [[], []]
    for hole in face.loops[1:]:
        xy = np.mean([net.xy[net.corners[c].vertex] for c in hole], axis=0)
        holes[int(shapely.contains_xy(regions[1], *xy))].append(hole)
    loops = [(around, *holes[0]), (between, *holes[1])]
    larger = int(regions[1].area > regions[0].area)
    name = net.new_plane_id()
    names = (edit.plane, name) if larger == 0 else (name, edit.plane)
    share = [int(net.n_points[edit.plane] * region.area / sum(r.area for r in regions)) for region in regions]
    for part, plane in enumerate((k, k2)):
        net.faces[names[part]] = TracedFace(plane=plane, loops=loops[part], observed=face.observed)
        net.n_points[names[part]] = share[part]
    bounds = tuple(sorted({k, k2}))
    edge = TracedEdge(
        kind=edit.kind, start=ends[0], end=ends[1], planes=bounds, curve=curve, observed=face.observed
    )
    net.edges[net.new_edge_id()] = edge
    if k2 != k:
        _hand_over(net, loops[1], ends, k, k2)


def _cut_side(
    net: Net, side: tuple[int, int], xy: tuple[float, float], curve: Curve, planes: set[int]
) -> int:
    """A new corner on a side of a loop; the edge there becomes two, the longer keeps its id."""
    name = net.edge_between(*side)
    if name is None:
        raise AssertionError("a side without an edge")
    edge = net.edges[name]
    vertex = net.add_vertex([edge.curve, curve], np.array(xy))
    corner = net.add_corner(vertex, planes | set(edge.planes))
    ends = [net.xy[net.corners[c].vertex] for c in (edge.start, edge.end)]
    lengths = [float(np.hypot(*(end - np.array(xy)))) for end in ends]
    one, other = replace(edge, end=corner), replace(edge, start=corner)
    longer, shorter = (one, other) if lengths[0] >= lengths[1] else (other, one)
    new = net.new_edge_id()
    net.edges[name], net.edges[new] = longer, shorter
    for n, observation in enumerate(net.observations):
        if isinstance(observation.made, FixLength) and name in observation.of:
            net.observations[n] = replace(observation, of=(*observation.of, new))
    for other_name, face in net.faces.items():
        loops = []
        for loop in face.loops:
            if other_name != "" and side[::-1] in sides(loop):
                at = loop.index(side[1])
                loop = (*loop[: at + 1], corner, *loop[at + 1 :])
            loops.append(loop)
        net.faces[other_name] = replace(face, loops=tuple(loops))
    return corner


def _hand_over(net: Net, loops: tuple[tuple[int, ...], ...], ends: list[int], k: int, k2: int) -> None:
    """What bounds the second part is the second plane's."""

    def curve(old: Curve) -> Curve:
        if old.planes is None or k not in old.planes or k2 in old.planes:
            return old
        first, second = sorted(k2 if p == k else p for p in old.planes)
        return Curve(planes=(first, second))

    for loop in loops:
        for side in sides(loop):
            name = net.edge_between(*side)
            if name is None or set(side) == set(ends):
                continue
            edge = net.edges[name]
            new = replace(
                edge, curve=curve(edge.curve), planes=tuple(sorted(k2 if p == k else p for p in edge.planes))
            )
            net.edges[name] = new
            for corner in side:
                vertex = net.corners[corner].vertex
                curves = net.curves[vertex]
                if new.curve not in curves:
                    if corner in ends:
                        curves.append(new.curve)
                    else:
                        curves[curves.index(edge.curve)] = new.curve
        for corner in loop:
            if corner not in ends:
                old = net.corners[corner]
                net.corners[corner] = replace(
                    old, planes=tuple(sorted({k2 if p == k else p for p in old.planes}))
                )
    for corner in ends:  # curves of the first plane that now go on with the second only
        vertex = net.corners[corner].vertex
        left = {edge.curve for edge in net.edges.values() if corner in (edge.start, edge.end)}
        net.curves[vertex] = [
            c for c in net.curves[vertex] if c.planes is None or k not in c.planes or c in left
        ]
