"""Lines of the plan along which a roof may change: creases of planes, and where planes end.  Metres."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from ..geometry.planlines import crease_lines
from ..scene import Array, Segmentation
from .evidence import Evidence

MAX_AZIMUTH_SD_RAD = np.deg2rad(2.5)  # planes less sure of their azimuth set no direction of their own
DIRECTION_CLUSTER_RAD = np.deg2rad(5.0)
MIN_SLOPE_FOR_AZIMUTH = 0.03  # below this a plane is level and its azimuth noise
OUTLINE_STEP_RAD = np.deg2rad(
    15.0
)  # between the directions in which the outline of a level roof is looked for
OUTLINE_COARSE_RAD = np.deg2rad(1.0)  # first round of its sides' direction; the next is ten times finer
SAME_DIRECTION_RAD = np.deg2rad(10.0)
GAP_SPACINGS = 4.0  # random points leave a longer gap in 0.25 % of all places
INSIDE_SPACINGS = 0.35  # by how much the outermost points lie inside an edge
LONE_SUPPORT_M = 0.2  # what a line counts for that one end speaks for, however wide its strip
LEAST_SLANTING = 5  # ends on a line that runs neither along nor across the fall
MOST_SLANTING = 4  # such lines a plane
MOST_LOOSE_ENDS = 120  # ends that are paired
CLOSING_SUPPORT_M = 1.0  # what a line counts for that only the outermost points speak for
MERGE_DIRECTION_RAD = np.deg2rad(3.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanLine:
    """The line n . p = offset between two stations along (-n_y, n_x)."""

    normal: Array  # (2,) unit; for a boundary it points out of its first owner
    offset: float  # [m]
    span: tuple[float, float]  # [m] stations between which points speak for it
    owners: frozenset[int]  # planes that it bounds
    crease: tuple[int, int] | None  # the two planes, None for a boundary
    support_m: float  # length of the line that points speak for

    @property
    def direction(self) -> Array:
        """Unit vector along the line."""
        return np.array([-self.normal[1], self.normal[0]])

    def flipped(self) -> PlanLine:
        """The same line with its normal to the other side."""
        low, high = self.span
        return replace(self, normal=-self.normal, offset=-self.offset, span=(-high, -low))


def candidate_lines(evidence: Evidence, segmentation: Segmentation) -> list[PlanLine]:
    """All creases that are touched from both sides, then all boundaries that no crease explains."""
    creases = _creases(evidence)
    boundaries = _boundaries(evidence, segmentation, creases)
    return creases + _merge(_settle_near_creases(boundaries, creases, evidence), evidence)


def _creases(evidence: Evidence) -> list[PlanLine]:
    reach = max(0.5, 2 * evidence.spacing_m)
    on_roof = np.flatnonzero(evidence.labels >= 0)
    xyz, labels = evidence.xyz[on_roof], evidence.labels[on_roof]
    pairs = cKDTree(xyz).query_pairs(1.5 * reach, output_type="ndarray")
    pairs = pairs[labels[pairs[:, 0]] != labels[pairs[:, 1]]]
    if len(pairs) == 0:
        return []
    swap = labels[pairs[:, 0]] > labels[pairs[:, 1]]
    pairs[swap] = pairs[swap][:, ::-1]
    i, j = labels[pairs[:, 0]], labels[pairs[:, 1]]
    lines = []
    for key in np.unique(i.astype(np.int64) * len(evidence.coefficients) + j):
        a, b = divmod(int(key), len(evidence.coefficients))
        normal, offset = crease_lines(evidence.coefficients[a], evidence.coefficients[b])
        if not normal.any():
            continue
        rows = np.unique(pairs[(i == a) & (j == b)])
        xy = xyz[rows, :2]
        near = np.abs(xy @ normal - offset) < reach
        sides = [near & (labels[rows] == k) for k in (a, b)]
        if not all(side.any() for side in sides):
            continue
        station = xy @ np.array([-normal[1], normal[0]])
        low = max(station[side].min() for side in sides)
        high = min(station[side].max() for side in sides)
        if high - low < max(0.5, 1.2 * evidence.spacing_m):
            continue
        lines.append(
            PlanLine(
                normal=normal,
                offset=float(offset),
                span=(float(low), float(high)),
                owners=frozenset((a, b)),
                crease=(a, b),
                support_m=float(high - low),
            )
        )
    return lines


def plane_directions(evidence: Evidence, segmentation: Segmentation) -> list[float]:
    """Direction in plan along or across which each plane is likely to end [rad].

    The azimuth of its gradient, shared modulo 90 degrees by planes that agree; of a roof without any azimuth,
    which is level, that of its outline.
    """
    quarter = np.pi / 2

    def gaps_to(means: list[float], angle: float) -> list[float]:
        return [abs((angle - mean + quarter / 2) % quarter - quarter / 2) for mean in means]

    gradient = evidence.coefficients[:, :2]
    slope = np.hypot(gradient[:, 0], gradient[:, 1])
    angle = np.arctan2(gradient[:, 1], gradient[:, 0])
    sd = np.full(len(slope), np.inf)
    for k, plane in enumerate(segmentation.planes):
        if slope[k] > MIN_SLOPE_FOR_AZIMUTH:
            across = np.array([-gradient[k, 1], gradient[k, 0]]) / slope[k]
            sd[k] = np.sqrt(across @ plane.covariance[:2, :2] @ across) / slope[k]
    area = np.array([plane.area_m2 for plane in segmentation.planes])
    clusters: list[list[int]] = []
    means: list[float] = []
    sure = [int(k) for k in np.flatnonzero(sd < MAX_AZIMUTH_SD_RAD)]
    for k in sorted(sure, key=lambda k: -float(area[k])):
        gaps = gaps_to(means, angle[k])
        if gaps and min(gaps) < max(DIRECTION_CLUSTER_RAD, 2 * sd[k]):
            home = int(np.argmin(gaps))
            clusters[home].append(k)
        else:
            home = len(clusters)
            clusters.append([k])
            means.append(0.0)
        weights = 1 / (sd[clusters[home]] ** 2 + np.deg2rad(0.2) ** 2)
        turns = np.exp(4j * angle[clusters[home]])
        means[home] = float(np.angle((weights * turns).sum()) / 4)
    if not means:
        on_roof = evidence.xyz[evidence.labels >= 0, :2]
        return [outline_direction(on_roof, evidence.spacing_m)] * len(slope)
    home_of = {k: mean for mean, members in zip(means, clusters, strict=True) for k in members}
    directions = []
    for k in range(len(slope)):
        nearest = means[int(np.argmin(gaps_to(means, angle[k]))) if np.isfinite(sd[k]) else 0]
        mean = home_of.get(k, nearest)
        directions.append(mean + quarter * round((angle[k] - mean) / quarter))
    return directions


def outline_direction(xy: Array, spacing_m: float) -> float:
    """Direction, modulo 90 degrees, in which the outline of points has its longest straight sides [rad].

    Parameters
    ----------
    xy : array, shape (n, 2)
        [m]
    spacing_m : float
        Between them [m].

    Notes
    -----
    Last points of runs in many directions lie along the outline.  Projected along a side they fall on one
    spot: the sum of squared counts in narrow bins is largest there.
    """
    turns = np.arange(0, 2 * np.pi, OUTLINE_STEP_RAD)
    ends = np.concatenate([run_ends(xy, np.array([np.cos(t), np.sin(t)]), spacing_m) for t in turns])
    bin_m = max(0.1, 0.4 * spacing_m)

    def sharpness(angle: float) -> float:
        total = 0.0
        for normal in ((np.cos(angle), np.sin(angle)), (-np.sin(angle), np.cos(angle))):
            at = ends @ np.array(normal) / bin_m
            for shift in (0.0, 0.5):  # so that a side does not hide on the border of two bins
                index = np.floor(at - at.min() + shift).astype(np.int64)
                total += float((np.bincount(index).astype(np.float64) ** 2).sum())
        return total

    coarse = max(np.arange(0, np.pi / 2, OUTLINE_COARSE_RAD), key=sharpness)
    fine = coarse + np.arange(-1, 1, 0.1) * OUTLINE_COARSE_RAD
    return float(max(fine, key=sharpness))


def _boundaries(evidence: Evidence, segmentation: Segmentation, creases: list[PlanLine]) -> list[PlanLine]:
    directions = plane_directions(evidence, segmentation)
    lines = []
    for k in range(len(evidence.coefficients)):
        angle = directions[k]
        own = evidence.xyz[evidence.labels == k, :2]
        near_creases = [line for line in creases if k in line.owners]
        left = []
        for quarter in range(4):
            turn = angle + quarter * np.pi / 2
            normal = np.array([np.cos(turn), np.sin(turn)])
            ends = _unexplained(run_ends(own, normal, evidence.spacing_m), near_creases, evidence.spacing_m)
            found, rest = _vote(ends, normal, k, evidence.spacing_m)
            lines.extend(found)
            left.append(_unexplained(rest, found, evidence.spacing_m))
        lines.extend(_slanting(np.concatenate(left), own, k, evidence.spacing_m))
    return lines


def closing_lines(evidence: Evidence, segmentation: Segmentation, planes: list[int]) -> list[PlanLine]:
    """The four sides of the box round each plane's points, for planes whose outline was left open."""
    directions = plane_directions(evidence, segmentation)
    lines = []
    for k in planes:
        own = evidence.xyz[evidence.labels == k, :2]
        if len(own) == 0:
            continue
        for quarter in range(4):
            turn = directions[k] + quarter * np.pi / 2
            normal = np.array([np.cos(turn), np.sin(turn)])
            station = own @ np.array([-normal[1], normal[0]])
            lines.append(
                PlanLine(
                    normal=normal,
                    offset=float((own @ normal).max()) + INSIDE_SPACINGS * evidence.spacing_m,
                    span=(float(station.min()), float(station.max())),
                    owners=frozenset((k,)),
                    crease=None,
                    support_m=CLOSING_SUPPORT_M,
                )
            )
    return lines


def _strip_width_m(spacing_m: float) -> float:
    return max(1.5 * spacing_m, 0.2)


def run_ends(own: Array, normal: Array, spacing_m: float) -> Array:
    """Last points of runs along a direction, in strips side by side; a run ends at a gap, shape (n, 2)."""
    gap = max(GAP_SPACINGS * spacing_m, 0.5)
    station, height = own @ np.array([-normal[1], normal[0]]), own @ normal
    strip = np.floor(station / _strip_width_m(spacing_m)).astype(np.int64)
    order = np.lexsort((height, strip))
    last = np.ones(len(order), dtype=bool)
    last[:-1] = (strip[order][1:] != strip[order][:-1]) | (np.diff(height[order]) > gap)
    return np.asarray(own[order[last]])


def _unexplained(ends: Array, lines: list[PlanLine], spacing_m: float) -> Array:
    """Those of the ends that do not lie on one of the lines."""
    width = _strip_width_m(spacing_m)
    for line in lines:
        distance = np.abs(ends @ line.normal - line.offset)
        along = ends @ line.direction
        explained = (
            (distance < max(0.3, 1.2 * spacing_m))
            & (along > line.span[0] - width)
            & (along < line.span[1] + width)
        )
        ends = ends[~explained]
    return ends


def _vote(ends: Array, normal: Array, plane: int, spacing_m: float) -> tuple[list[PlanLine], Array]:
    """Lines across a direction that many ends lie on, and the ends that are left."""
    width = _strip_width_m(spacing_m)
    direction = np.array([-normal[1], normal[0]])
    window = max(0.15, 0.5 * spacing_m)
    clear = max(0.3, 1.2 * spacing_m)
    least = max(0.6, 1.5 * spacing_m)
    found = []
    while len(ends):
        offsets = np.sort(ends @ normal)
        count = np.searchsorted(offsets, offsets + 2 * window, side="right") - np.arange(len(offsets))
        best = int(np.argmax(count))
        if count[best] * width < least:
            break
        middle = float(np.median(offsets[best : best + count[best]]))
        voters = np.abs(ends @ normal - middle) <= window
        along = ends[voters] @ direction
        found.append(
            PlanLine(
                normal=normal,
                offset=middle + INSIDE_SPACINGS * spacing_m,
                span=(float(along.min() - width / 2), float(along.max() + width / 2)),
                owners=frozenset((plane,)),
                crease=None,
                support_m=float(voters.sum() * width) if voters.sum() > 1 else LONE_SUPPORT_M,
            )
        )
        ends = ends[np.abs(ends @ normal - middle) > clear]
    return found, ends


def _slanting(ends: Array, own: Array, plane: int, spacing_m: float) -> list[PlanLine]:
    """Lines in any direction through ends that no line along or across the fall explains.

    Every pair of ends is a hypothesis; the one with the most ends on it, without a long gap, is taken.
    """
    window = max(0.1, 0.4 * spacing_m)
    gap = max(1.0, 4 * spacing_m)
    least_m = max(1.8, 5 * spacing_m)
    found: list[PlanLine] = []
    ends = np.unique(ends, axis=0)[:MOST_LOOSE_ENDS]
    while len(ends) >= LEAST_SLANTING and len(found) < MOST_SLANTING:
        i, j = np.triu_indices(len(ends), k=1)
        chord = ends[j] - ends[i]
        length = np.hypot(chord[:, 0], chord[:, 1])
        far = (length > least_m / 2) & (length < 4 * least_m)
        i, chord, length = i[far], chord[far], length[far]
        if len(i) == 0:
            break
        normals = np.column_stack([chord[:, 1], -chord[:, 0]]) / length[:, None]
        on_line = np.abs(normals @ ends.T - (normals * ends[i]).sum(axis=1)[:, None]) < window
        best = int(np.argmax(on_line.sum(axis=1)))
        mine = ends[on_line[best]]
        along = np.sort(mine @ (chord[best] / length[best]))
        if len(mine) < LEAST_SLANTING or np.ptp(along) < least_m or np.diff(along).max() > gap:
            break
        middle = mine.mean(axis=0)
        normal = np.linalg.svd(mine - middle)[2][1]
        if float((own @ normal).mean()) > float(middle @ normal):
            normal = -normal
        station = mine @ np.array([-normal[1], normal[0]])
        found.append(
            PlanLine(
                normal=normal,
                offset=float(middle @ normal) + INSIDE_SPACINGS * spacing_m,
                span=(float(station.min()), float(station.max())),
                owners=frozenset((plane,)),
                crease=None,
                support_m=float(np.ptp(station)),
            )
        )
        ends = ends[np.abs(ends @ normal - middle @ normal) > 2 * window]
    return found


def _angle_between(first: Array, second: Array) -> float:
    """Angle of two undirected lines, 0 to pi/2 [rad]."""
    cross = first[0] * second[1] - first[1] * second[0]
    return float(np.arctan2(abs(cross), abs(first @ second)))


def _settle_near_creases(
    boundaries: list[PlanLine], creases: list[PlanLine], evidence: Evidence
) -> list[PlanLine]:
    """Drop boundaries that a crease of the same plane covers; lay those that only run on from one along it.

    An eave that a porch roof interrupts is one line with the crease where the porch begins.
    """
    reach = max(0.35, 0.8 * evidence.spacing_m)
    kept = []
    for line in boundaries:
        ends = [line.normal * line.offset + line.direction * s for s in line.span]
        covered = False
        for crease in creases:
            if (
                not line.owners & crease.owners
                or _angle_between(line.normal, crease.normal) > SAME_DIRECTION_RAD
            ):
                continue
            low, high = sorted(float(end @ crease.direction) for end in ends)
            near = max(abs(float(end @ crease.normal) - crease.offset) for end in ends) < reach
            overlap = min(high, crease.span[1] + 1) - max(low, crease.span[0] - 1)
            if not near or overlap <= 0:
                continue
            if overlap > 0.8 * (high - low):
                covered = True
                break
            side = 1.0 if float(line.normal @ crease.normal) > 0 else -1.0
            stations = (low, high) if side > 0 else (-high, -low)
            line = replace(line, normal=side * crease.normal, offset=side * crease.offset, span=stations)
            break
        if not covered:
            kept.append(line)
    return kept


def _merge(lines: list[PlanLine], evidence: Evidence) -> list[PlanLine]:
    """Unite boundaries that lie on one line: a rake of two faces, an upper rake and the wall below it."""
    reach = max(0.22, 0.55 * evidence.spacing_m)
    pending = sorted(lines, key=lambda line: (-line.support_m, line.offset, sorted(line.owners)))
    kept: list[PlanLine] = []
    for line in pending:
        for n, other in enumerate(kept):
            if _angle_between(line.normal, other.normal) > MERGE_DIRECTION_RAD:
                continue
            ends = [line.normal * line.offset + line.direction * s for s in line.span]
            stations = sorted(float(end @ other.direction) for end in ends)
            gap = max(stations[0] - other.span[1], other.span[0] - stations[1])
            middle = (ends[0] + ends[1]) / 2
            if gap < 2.5 and abs(middle @ other.normal - other.offset) < reach:
                kept[n] = replace(
                    other,
                    span=(min(other.span[0], stations[0]), max(other.span[1], stations[1])),
                    owners=other.owners | line.owners,
                    support_m=other.support_m + line.support_m,
                )
                break
        else:
            kept.append(line)
    return kept
