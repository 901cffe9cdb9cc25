"""Where cameras stood, from a handful of marks: pairs of photos, photos against known points, points.

Rays are directions with z = 1 in camera axes; poses are (R, C) with x_camera = R (X - C).  A pair gives
several answers where its marks are few or on one plane: all that put the marks before both cameras are given,
best first, and what follows decides.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import numpy.typing as npt

from ..scene import Array

Pose = tuple[Array, Array]

LEAST_OF_PAIR, LEAST_OF_PLANE, LEAST_OF_PHOTO = 5, 4, 4  # shared marks; known points in a photo
MOST_SUBSETS = 12  # of five marks out of more, so that a blunder or two does not spoil all
MOST_ANSWERS = 6  # of a pair that are looked at


def pair_poses(first: Array, second: Array, rng: np.random.Generator) -> list[Pose]:
    """Poses of the second of two photos, the first at the origin; the distance is 1.

    Parameters
    ----------
    first, second : array, shape (n, 3), n >= 4
        Rays to the same marks.
    rng : Generator
        Draws subsets where there are many.

    Returns
    -------
    list of (R, C)
        Best first by the median angle between rays and points; empty where nothing fits.

    References
    ----------
    .. [1] D. Nister, "An efficient solution to the five-point relative pose problem," PAMI 26(6), 2004,
       doi:10.1109/TPAMI.2004.17.
    .. [2] E. Malis and M. Vargas, "Deeper understanding of the homography decomposition for vision-based
       control," INRIA RR-6303, 2007.
    """
    import cv2

    n = len(first)
    found: list[Pose] = []
    if n >= LEAST_OF_PAIR:
        for rows in _subsets(n, LEAST_OF_PAIR, rng):
            essential, _ = cv2.findEssentialMat(
                np.ascontiguousarray(first[rows, :2]),
                np.ascontiguousarray(second[rows, :2]),
                np.eye(3),
                method=0,
            )
            for matrix in [] if essential is None else essential.reshape(-1, 3, 3):
                one, other, t = cv2.decomposeEssentialMat(matrix)
                found += [(_float(r), _float(-s * r.T @ t[:, 0])) for r in (one, other) for s in (1.0, -1.0)]
    plane, _ = cv2.findHomography(first[:, :2], second[:, :2], 0)
    if plane is not None and np.isfinite(plane).all() and abs(np.linalg.det(plane)) > 1e-12:
        _, turns, ways, _ = cv2.decomposeHomographyMat(plane, np.eye(3))
        for r, t in zip(turns, ways, strict=True):
            length = float(np.linalg.norm(t))
            if length > 1e-6:
                found += [(_float(r), _float(-s / length * r.T @ t[:, 0])) for s in (1.0, -1.0)]
    scored = []
    for pose in found:
        points, before = _between(first, second, pose)
        if before < 0.8:
            continue
        scored.append((_miss(first, second, points, pose), pose))
    scored.sort(key=lambda item: item[0])
    answers: list[Pose] = []
    for _, pose in scored:
        if all(_differ(pose, other) for other in answers):
            answers.append(pose)
        if len(answers) == MOST_ANSWERS:
            break
    return answers


def triangulate(rays: Array, rotations: Array, centres: Array) -> Array | None:
    """The point nearest to rays from several photos; None where they are parallel or it lies behind one.

    Parameters
    ----------
    rays : array, shape (n, 3)
    rotations : array, shape (n, 3, 3)
    centres : array, shape (n, 3)

    Returns
    -------
    array, shape (3,), or None
    """
    way = np.einsum("nji,nj->ni", rotations, rays)
    way /= np.linalg.norm(way, axis=1)[:, None]
    across = np.eye(3) - way[:, :, None] * way[:, None, :]
    normal = across.sum(axis=0)
    if np.linalg.eigvalsh(normal)[0] < 1e-4:  # rays within half a degree
        return None
    point = np.linalg.solve(normal, (across @ centres[:, :, None]).sum(axis=0)[:, 0])
    ahead = ((point - centres) * way).sum(axis=1)
    return np.asarray(point) if (ahead > 0).all() else None


def photo_poses(rays: Array, points: Array, rng: np.random.Generator) -> list[Pose]:
    """Poses of a photo that sees known points.

    Parameters
    ----------
    rays : array, shape (n, 3), n >= 4
    points : array, shape (n, 3)
    rng : Generator

    Returns
    -------
    list of (R, C)
        Best first by the median angle to the points.

    References
    ----------
    .. [1] G. Terzakis and M. Lourakis, "A consistently fast and globally optimal solution to the
       perspective-n-point problem," ECCV 2020, doi:10.1007/978-3-030-58452-8_28.
    """
    import cv2

    middle = points.mean(axis=0)
    size = float(np.linalg.norm(points - middle, axis=1).max())
    scored = []
    for rows in _subsets(len(rays), LEAST_OF_PHOTO, rng, whole=True):
        flat = np.ascontiguousarray(rays[rows, :2])
        known = np.ascontiguousarray((points[rows] - middle) / size)
        try:
            _, turns, ways, _ = cv2.solvePnPGeneric(known, flat, np.eye(3), None, flags=cv2.SOLVEPNP_SQPNP)
        except cv2.error:
            continue
        for turn, way in zip(turns, ways, strict=True):
            r = _float(cv2.Rodrigues(turn)[0])
            c = _float(middle - size * r.T @ way[:, 0])
            seen = (points - c) @ r.T
            if (seen[:, 2] > 0).mean() < 0.8:
                continue
            angle = _angles(rays, seen)
            scored.append((float(np.median(angle) + 0.1 * angle.mean()), (r, c)))
    scored.sort(key=lambda item: item[0])
    answers: list[Pose] = []
    for _, pose in scored:
        if all(_differ(pose, other) for other in answers):
            answers.append(pose)
        if len(answers) == 2:
            break
    return answers


def _float(values: npt.ArrayLike) -> Array:
    return np.asarray(values, dtype=np.float64)


def _subsets(n: int, k: int, rng: np.random.Generator, *, whole: bool = False) -> list[list[int]]:
    rows = [list(range(n))] if whole or n == k else []
    if n == k:
        return rows
    every = list(combinations(range(n), k)) if n <= 10 else []
    if 0 < len(every) <= MOST_SUBSETS:
        return rows + [list(rows) for rows in every]
    return rows + [rng.choice(n, size=k, replace=False).tolist() for _ in range(MOST_SUBSETS)]


def _between(first: Array, second: Array, pose: Pose) -> tuple[Array, float]:
    """Points where rays of a pair come nearest, and the share of them before both cameras."""
    r, c = pose
    d = second @ r  # directions of the second, in axes of the first
    dd, ff, fd = (d * d).sum(axis=1), (first * first).sum(axis=1), (first * d).sum(axis=1)
    determinant = np.maximum(ff * dd - fd**2, 1e-15)
    s = ((first @ c) * dd - (d @ c) * fd) / determinant
    t = ((first @ c) * fd - (d @ c) * ff) / determinant
    return s[:, None] * first, float(((s > 0) & (t > 0)).mean())


def _miss(first: Array, second: Array, points: Array, pose: Pose) -> float:
    r, c = pose
    angle = _angles(second, (points - c) @ r.T)
    return float(np.median(angle) + 0.1 * angle.mean())


def _angles(rays: Array, seen: Array) -> Array:
    across = np.linalg.norm(np.cross(rays, seen), axis=1)
    return np.asarray(np.arctan2(across, (rays * seen).sum(axis=1)))


def _differ(one: Pose, other: Pose) -> bool:
    turn = one[0] @ other[0].T
    angle = np.arccos(np.clip((np.trace(turn) - 1) / 2, -1, 1))
    a, b = one[1], other[1]
    away = float(np.linalg.norm(a - b)) / max(float(np.linalg.norm(a) + np.linalg.norm(b)) / 2, 1e-12)
    return bool(angle > 0.03 or away > 0.05)
