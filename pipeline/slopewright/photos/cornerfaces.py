"""Which marked corners make which face of a roof: by names, or as the upper surface of all of them.

Names: a mark that begins with codes such as `A1/B4 ridge, west end` is corner 1 of face A and corner 4 of
face B; the numbers go round a face.  Without such names every corner lies on the upper hull of all of them,
as on hips, gables, sheds and pyramids; a roof with an inner corner or a valley needs names.  Metres; z up.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import ConvexHull, QhullError
from scipy.special import chdtrc

from ..errors import InputError
from ..scene import Array

CODES = re.compile(r"^([A-Z]{1,2}\d{1,2}(?:/[A-Z]{1,2}\d{1,2})*)(?:\s|$)")
CODE = re.compile(r"([A-Z]{1,2})(\d{1,2})")
CORNER_SD_M = 0.01  # of what a person takes for the corner: thickness of covering, drip edge, ridge cap
STEEP_RAD = float(np.deg2rad(75.0))  # steeper parts of the hull are walls and gables
FLAT_CHANCE = 1e-3  # corners on one plane scatter more than theirs with this chance
MOST_FOLD_RAD = float(np.deg2rad(12.0))  # that could hide in a face: a gable of 2 in 12 has 19°, hips more
LEAST_FOLD_RAD = float(np.deg2rad(1.5))  # less is one face
EAVE_BELOW_M = 0.3  # under the lowest corner of the upper surface, marks are of walls and things before them
ENDS_BELOW_M = 1.0  # ends of known lengths further below the eaves are never corners of the roof
LEVEL_SLOPE = 0.05  # of an edge that counts as level while the vertical is known to a degree or two
UNDER_M = 0.15  # below the upper surface, and above the eaves: a corner of a roof that has a notch
WAY_OUT = (
    'name the corners of each face: begin marks with face and number, like "A1/B4 ridge, west end"'
    " (README, from marks alone)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Faces:
    """Rings of corners, counter-clockwise from above."""

    corners: tuple[int, ...]  # rows of the marks that are corners of the roof
    rings: tuple[tuple[int, ...], ...]  # rows of the marks
    names: tuple[str, ...]  # of the faces as the marks have them; "" where none were given


def find_faces(
    names: tuple[str, ...], xyz: Array, covariance: Array, aside: frozenset[str], file: str
) -> Faces:
    """The faces that corners make.

    Parameters
    ----------
    names : tuple of str
    xyz : array, shape (p, 3)
        [m], level but for a degree or two.
    covariance : array, shape (3 p, 3 p)
        [m²]
    aside : frozenset of str
        Marks that end a known length: corners only if they lie as high as a roof's.
    file : str
        For messages.

    Raises
    ------
    InputError
        If the corners do not say which faces they make: with the marks that would.
    """
    coded = {j: CODE.findall(match[1]) for j, name in enumerate(names) if (match := CODES.match(name))}
    if coded:
        return _named(coded, names, xyz, file)
    usual = [j for j, name in enumerate(names) if not name.endswith((".top", ".foot")) and name not in aside]
    if len(usual) < 3:
        raise InputError(f"{file}: {len(usual)} marks are corners of the roof, need 3 or more; {WAY_OUT}")
    plain = _whole(usual, names, xyz, covariance, file)
    eave_m = min(xyz[j, 2] for ring in plain for j in ring)
    high = [
        j
        for j, name in enumerate(names)
        if name in aside and xyz[j, 2] > eave_m - ENDS_BELOW_M and j not in usual
    ]
    rings = plain
    if high and (strange := len(strange_faces(plain, xyz)) + _open_tops(plain, xyz)):
        try:
            more = _whole(sorted([*usual, *high]), names, xyz, covariance, file)
            if len(strange_faces(more, xyz)) + _open_tops(more, xyz) < strange:
                rings = more
        except InputError:
            pass  # with them it is no roof: they are none of its corners
    return Faces(
        corners=tuple(sorted({j for ring in rings for j in ring})),
        rings=tuple(rings),
        names=("",) * len(rings),
    )


def strange_faces(rings: list[tuple[int, ...]] | tuple[tuple[int, ...], ...], xyz: Array) -> list[int]:
    """Faces whose lowest corner ends no level edge: it may be none of the roof's."""
    found = []
    for k, ring in enumerate(rings):
        corners = xyz[list(ring)]
        low = int(corners[:, 2].argmin())
        ways = [corners[(low + step) % len(ring)] - corners[low] for step in (-1, 1)]
        if all(way[2] > LEVEL_SLOPE * np.linalg.norm(way) for way in ways):
            found.append(k)
    return found


def _open_tops(rings: list[tuple[int, ...]], xyz: Array) -> int:
    """Level free edges at the top of a face: beyond them a face is missing."""
    sides: dict[frozenset[int], list[int]] = {}
    for k, ring in enumerate(rings):
        for a, b in zip(ring, ring[1:] + ring[:1], strict=True):
            sides.setdefault(frozenset((a, b)), []).append(k)
    count = 0
    for side, faces in sides.items():
        a, b = xyz[list(side)]
        level = abs(b[2] - a[2]) < LEVEL_SLOPE * np.linalg.norm(b - a)
        if len(faces) == 1 and level and (a[2] + b[2]) / 2 > xyz[list(rings[faces[0]]), 2].mean() + UNDER_M:
            count += 1
    return count


def _whole(
    rows: list[int], names: tuple[str, ...], xyz: Array, covariance: Array, file: str
) -> list[tuple[int, ...]]:
    """The upper hull's faces, refused where corners at the height of the roof lie under them."""
    rings = _hull_faces(rows, names, xyz, covariance, file)
    on = {j for ring in rings for j in ring}
    eave_m = min(xyz[j, 2] for j in on)
    inner = [j for j in rows if j not in on and xyz[j, 2] > eave_m - EAVE_BELOW_M]
    deep = [j for j in inner if _below(j, rings, xyz, covariance)]
    if deep:
        raise InputError(
            f'{file}: "{names[deep[0]]}" lies below the surface of the other corners: the roof has a valley'
            f" or a notch there; {WAY_OUT}"
        )
    return rings


def _named(coded: dict[int, list[tuple[str, str]]], names: tuple[str, ...], xyz: Array, file: str) -> Faces:
    faces: dict[str, dict[int, int]] = {}
    for j, codes in coded.items():
        for face, number in codes:
            if int(number) in faces.setdefault(face, {}):
                first = names[faces[face][int(number)]]
                raise InputError(
                    f'{file}: "{first}" and "{names[j]}" are both {face}{number}, need one of them'
                )
            faces[face][int(number)] = j
    rings = []
    for face, by_number in sorted(faces.items()):
        ring = [by_number[number] for number in sorted(by_number)]
        if len(ring) < 3:
            raise InputError(f"{file}: face {face} has {len(ring)} corners that were placed, need 3 or more")
        if not shapely.Polygon(xyz[ring, :2]).is_valid:
            raise InputError(
                f"{file}: sides of face {face} cross in plan: its corners must be numbered in order round it"
            )
        if _plan_area(xyz[ring]) < 0:
            ring.reverse()
        rings.append(tuple(ring))
    return Faces(corners=tuple(sorted(coded)), rings=tuple(rings), names=tuple(sorted(faces)))


def _hull_faces(
    rows: list[int], names: tuple[str, ...], xyz: Array, covariance: Array, file: str
) -> list[tuple[int, ...]]:
    """Faces of the upper hull: its triangles, joined where their corners lie on one plane."""
    points = xyz[rows]
    if len(rows) == 3 or (_is_thin(points) and _chance(rows, xyz, covariance) > FLAT_CHANCE):
        hull = ConvexHull(points[:, :2])
        return [tuple(rows[k] for k in hull.vertices)]
    try:
        hull = ConvexHull(points)
    except QhullError:
        raise InputError(f"{file}: the marked corners lie on one line, need the corners of faces") from None
    groups = [
        set(triangle.tolist())
        for triangle, normal in zip(hull.simplices, hull.equations[:, :3], strict=True)
        if normal[2] > np.cos(STEEP_RAD)
    ]
    groups = _joined(groups, rows, names, xyz, covariance, file)
    return [_ring([rows[k] for k in group], xyz) for group in groups]


def _joined(
    groups: list[set[int]],
    rows: list[int],
    names: tuple[str, ...],
    xyz: Array,
    covariance: Array,
    file: str,
) -> list[set[int]]:
    """Neighbours joined while all their corners lie on one plane, the best pair first."""
    while True:
        pairs = []
        for a in range(len(groups)):
            for b in range(a + 1, len(groups)):
                if len(groups[a] & groups[b]) < 2:
                    continue
                both = [rows[k] for k in groups[a] | groups[b]]
                fold, sd = _fold([rows[k] for k in groups[a]], [rows[k] for k in groups[b]], xyz, covariance)
                chance = _chance(both, xyz, covariance)
                if fold < LEAST_FOLD_RAD or chance > FLAT_CHANCE:
                    pairs.append((chance, a, b, fold, sd))
        if not pairs:
            return groups
        _, a, b, fold, sd = max(pairs)
        if fold + 2 * sd > MOST_FOLD_RAD:
            listed = ", ".join(f'"{names[rows[k]]}"' for k in sorted(groups[a] | groups[b]))
            raise InputError(
                f"{file}: whether {listed} lie on one face or on two is not known (fold"
                f" {np.degrees(fold):.0f}° ± {2 * np.degrees(sd):.0f}°): mark them in more photos from other"
                f" sides, or {WAY_OUT}"
            )
        groups = [g for k, g in enumerate(groups) if k not in (a, b)] + [groups[a] | groups[b]]


def plane_through(
    rows: list[int] | tuple[int, ...], xyz: Array, covariance: Array
) -> tuple[Array, Array, Array, float]:
    """Least squares plane of corners: (slope x, slope y, height at the middle), how it follows, misfit.

    Parameters
    ----------
    rows : list of int
        Corners.
    xyz : array, shape (p, 3)
    covariance : array, shape (3 p, 3 p)
        Of all marks; corners err by `CORNER_SD_M` besides.

    Returns
    -------
    coefficients : array, shape (3,)
        As [1, 1, m].
    design : array, shape (3, 3 p)
        Their change with the coordinates of all marks.
    own : array, shape (3, 3)
        Their covariance.
    square : float
        Sum of squares of what remains, in standard deviations: chi square of as many degrees of freedom as
        corners more than three.
    """
    own = xyz[list(rows)]
    middle = own.mean(axis=0)
    a = np.column_stack([own[:, :2] - middle[:2], np.ones(len(own))])
    b = np.zeros(3)
    index = np.add.outer(3 * np.array(rows), np.arange(3))
    spread = covariance[np.ix_(index.ravel(), index.ravel())] + CORNER_SD_M**2 * np.eye(3 * len(own))
    for _ in range(4):
        g = np.kron(np.eye(len(own)), np.array([-b[0], -b[1], 1.0])[None])
        inverse = np.linalg.inv(g @ spread @ g.T)
        normal = a.T @ inverse @ a
        b = np.linalg.solve(normal, a.T @ inverse @ own[:, 2])
    gain = np.linalg.solve(normal, a.T @ inverse)
    rest = own[:, 2] - a @ b
    design = np.zeros((3, 3 * len(xyz)))
    design[:, index.ravel()] = gain @ g
    # the middle moves along with its corners: the height is that at a fixed place
    return b, design, np.linalg.inv(normal), float(rest @ inverse @ rest)


def _chance(rows: list[int], xyz: Array, covariance: Array) -> float:
    if len(rows) <= 3:
        return 1.0
    return float(chdtrc(len(rows) - 3, plane_through(rows, xyz, covariance)[3]))


def _fold(first: list[int], second: list[int], xyz: Array, covariance: Array) -> tuple[float, float]:
    """Angle between the planes of two groups and its standard uncertainty [rad]."""
    a, da, _, _ = plane_through(first, xyz, covariance)
    b, db, _, _ = plane_through(second, xyz, covariance)
    n, m = (np.array([-c[0], -c[1], 1.0]) / np.sqrt(1 + c[0] ** 2 + c[1] ** 2) for c in (a, b))
    angle = float(np.arctan2(np.linalg.norm(np.cross(n, m)), n @ m))
    gap = a[:2] - b[:2]
    size = float(np.linalg.norm(gap))
    way = gap / size if size > 1e-9 else np.array([1.0, 0.0])
    row = way @ (da[:2] - db[:2])
    spread = float(row @ covariance @ row) + CORNER_SD_M**2 * float(row @ row)
    return angle, float(np.sqrt(spread) * n[2] * m[2])


def _is_thin(points: Array) -> bool:
    """Whether points lie on one plane as far as a house goes: no fold of a roof is so flat."""
    _, (long, _, thin), _ = np.linalg.svd(points - points.mean(axis=0))
    return bool(thin < 0.02 * long)


def _ring(rows: list[int], xyz: Array) -> tuple[int, ...]:
    """Corners of a face in order round it, those on its sides included."""
    away = xyz[rows, :2] - xyz[rows, :2].mean(axis=0)
    order = np.argsort(np.arctan2(away[:, 1], away[:, 0]))
    return tuple(rows[k] for k in order)


def _below(j: int, rings: list[tuple[int, ...]], xyz: Array, covariance: Array) -> bool:
    """Whether a mark lies under all faces by more than it may err."""
    gaps = []
    for ring in rings:
        b, _, _, _ = plane_through(ring, xyz, covariance)
        middle = xyz[list(ring)].mean(axis=0)
        gaps.append(float(b[:2] @ (xyz[j, :2] - middle[:2]) + b[2] - xyz[j, 2]))
    sd = float(np.sqrt(covariance[3 * j + 2, 3 * j + 2]))
    return min(gaps) > max(UNDER_M, 4 * sd)


def _plan_area(ring: Array) -> float:
    x, y = (ring - ring[0])[:, 0], (ring - ring[0])[:, 1]
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)
