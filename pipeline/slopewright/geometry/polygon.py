"""Area, slope and plane of flat polygons in space.  Metres and radians; z is up, y is north.

A ring is its corners in order, shape (n, 3), in either turn, from any corner, open (a repeated first
corner at the end is dropped).  A polygon is an outer ring and the rings of its holes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from slopewright.errors import DegenerateGeometryError, InputError

Array = npt.NDArray[np.float64]

LEVEL_TILT_RAD = 1e-9  # rounding of map coordinates (1e6 m) tilts a 1 m face by as much: no azimuth below it
MAX_ASPECT = 1e6  # long side over short side of a ring's corners; beyond it they are a line


def newell_normal(ring: npt.ArrayLike) -> Array:
    """Area vector of a ring: its length is the area, its direction the normal.

    Parameters
    ----------
    ring : array, shape (n, 3), n >= 3
        Corners [m].

    Returns
    -------
    array, shape (3,)
        Area vector [m²]; up for a ring that runs counter-clockwise seen from above.  For a ring that is
        not flat it is the area of the projection that shows most of it.

    Raises
    ------
    InputError
        If the shape is not (n >= 3, 3) or a coordinate is not finite.

    References
    ----------
    .. [1] M. E. Newell's method, in I. E. Sutherland, R. F. Sproull, R. A. Schumacker, "A characterization
       of ten hidden-surface algorithms," ACM Computing Surveys 6(1), 1-55, 1974, doi:10.1145/356625.356626.
    """
    corners = _corners(ring)
    corners = corners - corners.mean(axis=0)
    return np.asarray(np.cross(corners, np.roll(corners, -1, axis=0)).sum(axis=0) / 2, dtype=np.float64)


def polygon_area(ring: npt.ArrayLike, holes: Iterable[npt.ArrayLike] = ()) -> float:
    """Area of a flat polygon, measured in its own plane [m²].

    Parameters
    ----------
    ring : array, shape (n, 3)
        Corners of the outer ring [m].
    holes : iterable of arrays, shape (k, 3)
        Corners of the holes [m], in either turn.  They lie in the ring and do not overlap.

    Returns
    -------
    float
        Area of the ring less that of its holes [m²].

    Raises
    ------
    InputError
        If a ring is malformed, or the holes are larger than the ring.
    """
    outer_m2 = float(np.linalg.norm(newell_normal(ring)))
    return _less_holes(outer_m2, [float(np.linalg.norm(newell_normal(hole))) for hole in holes])


def plan_area(ring: npt.ArrayLike, holes: Iterable[npt.ArrayLike] = ()) -> float:
    """Area of a polygon seen from above [m²].

    Parameters
    ----------
    ring : array, shape (n, 3) or (n, 2)
        Corners of the outer ring [m].
    holes : iterable of arrays, shape (k, 3) or (k, 2)
        Corners of the holes [m], in either turn.

    Returns
    -------
    float
        Area of the ring's plan less that of its holes [m²].

    Raises
    ------
    InputError
        If a ring is malformed, or the holes are larger than the ring.
    """
    outer_m2 = abs(float(newell_normal(_in_space(ring))[2]))
    return _less_holes(outer_m2, [abs(float(newell_normal(_in_space(hole))[2])) for hole in holes])


def pitch_rad(normal: npt.ArrayLike) -> float:
    """Angle between a plane and the horizontal [rad], 0 (level) to pi/2 (a wall).

    Parameters
    ----------
    normal : array, shape (3,)
        Normal of the plane, of any length and either sign.

    Returns
    -------
    float
        Pitch [rad].

    Raises
    ------
    InputError
        If the normal is not three finite numbers, or is zero.
    """
    x, y, z = _direction(normal)
    return math.atan2(math.hypot(x, y), abs(z))


def azimuth_rad(normal: npt.ArrayLike) -> float:
    """Direction in which a plane falls [rad], clockwise from north (+y), from 0 up to 2 pi.

    Parameters
    ----------
    normal : array, shape (3,)
        Normal of the plane, of any length and either sign.

    Returns
    -------
    float
        Azimuth [rad]; nan for a level plane, which falls nowhere.  Of an exactly vertical plane, the
        side that the given normal points to.

    Raises
    ------
    InputError
        If the normal is not three finite numbers, or is zero.
    """
    x, y, z = _direction(normal)
    if z < 0:
        x, y = -x, -y
    if math.hypot(x, y) <= LEVEL_TILT_RAD:
        return math.nan
    azimuth = math.atan2(x, y) % math.tau
    return azimuth if azimuth < math.tau else 0.0  # the remainder of -1e-17 rounds to tau


def plane_from_polygon(ring: npt.ArrayLike, holes: Iterable[npt.ArrayLike] = ()) -> tuple[Array, float]:
    """Plane of a polygon, by total least squares over its corners where these are not quite flat.

    Parameters
    ----------
    ring : array, shape (n, 3)
        Corners of the outer ring [m].
    holes : iterable of arrays, shape (k, 3)
        Corners of the holes [m].

    Returns
    -------
    normal : array, shape (3,)
        Unit normal, z >= 0; of an exactly vertical polygon, the side from which its ring runs
        counter-clockwise.
    offset : float
        normal . x = offset [m] for the points x of the plane.

    Raises
    ------
    InputError
        If a ring is malformed.
    DegenerateGeometryError
        If the corners lie on a line or at one spot.
    """
    outer = _corners(ring)
    corners = np.concatenate([outer, *(_corners(hole) for hole in holes)])
    centroid = corners.mean(axis=0)
    _, (long, short, _), axes = np.linalg.svd(corners - centroid, full_matrices=False)
    if short * MAX_ASPECT <= long:
        raise DegenerateGeometryError(
            f"ring: corners on a line, {short:.2g} m wide against {long:.2g} m long, need an area"
        )
    normal = np.asarray(axes[2], dtype=np.float64)
    side = normal[2] if normal[2] != 0 else float(normal @ newell_normal(outer))
    normal = normal if side >= 0 else -normal
    return normal, float(normal @ centroid)


def edge_lengths(ring: npt.ArrayLike) -> Array:
    """Lengths of a ring's sides [m], the i-th from corner i to the next, shape (n,)."""
    corners = _corners(ring)
    return np.asarray(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1), dtype=np.float64)


def perimeter(ring: npt.ArrayLike) -> float:
    """Length all round a ring [m]."""
    return float(edge_lengths(ring).sum())


def _corners(ring: npt.ArrayLike) -> Array:
    """The ring as an open (n, 3) array of floats."""
    corners = np.asarray(ring, dtype=np.float64)
    if corners.ndim != 2 or corners.shape[1] != 3:
        raise InputError(f"ring: shape {corners.shape}, need (n >= 3, 3)")
    if len(corners) > 1 and np.array_equal(corners[0], corners[-1]):
        corners = corners[:-1]
    if len(corners) < 3:
        raise InputError(f"ring: {len(corners)} corners, need three or more")
    if not np.isfinite(corners).all():
        raise InputError(f"ring: {np.sum(~np.isfinite(corners))} coordinates not finite")
    return corners


def _in_space(ring: npt.ArrayLike) -> Array:
    """A ring of the plan laid at level zero; a ring in space as it is."""
    corners = np.asarray(ring, dtype=np.float64)
    if corners.ndim == 2 and corners.shape[1] == 2:
        return np.column_stack([corners, np.zeros(len(corners))])
    return corners


def _direction(normal: npt.ArrayLike) -> tuple[float, float, float]:
    """The normal at unit length."""
    vector = np.asarray(normal, dtype=np.float64)
    if vector.shape != (3,) or not np.isfinite(vector).all():
        raise InputError(f"normal: {vector.tolist()}, need three finite numbers")
    length = float(np.linalg.norm(vector))
    if length == 0:
        raise InputError("normal: zero, need a direction")
    x, y, z = (float(component) / length for component in vector)
    return x, y, z


def _less_holes(outer_m2: float, holes_m2: list[float]) -> float:
    """The outer area less the holes'."""
    area_m2 = outer_m2 - math.fsum(holes_m2)
    if area_m2 < -1e-9 * outer_m2:  # holes that fill the ring leave a rounding error of either sign
        raise InputError(f"holes: {math.fsum(holes_m2):.6g} m² in a ring of {outer_m2:.6g} m², need less")
    return max(area_m2, 0.0)
