"""Planes of many point sets at once, from their moments.  Metres; z up.

A plane is a centroid and a unit normal; residuals are orthogonal distances.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .moments import mean_and_covariance

Array = npt.NDArray[np.float64]


def symmetric_eigen(matrices: Array) -> tuple[Array, Array]:
    """Eigenvalues, ascending, and the eigenvector of the smallest one, of symmetric 3 x 3 matrices.

    Parameters
    ----------
    matrices : array, shape (m, 3, 3)
        Symmetric and positive semi-definite.

    Returns
    -------
    values : array, shape (m, 3)
        Accurate to about 1e-8 of the largest where the two smaller ones are equal, 1e-15 elsewhere.
    vector : array, shape (m, 3)
        Unit; any unit vector across the line or sphere where the smallest value is not single.

    Notes
    -----
    The trigonometric solution of the characteristic cubic [1]_: ten times as fast as a LAPACK call each.

    References
    ----------
    .. [1] O. K. Smith, "Eigenvalues of a symmetric 3 × 3 matrix," Commun. ACM 4(4), 168, 1961,
       doi:10.1145/355578.366316.
    """
    a, b, c = matrices[:, 0, 0], matrices[:, 1, 1], matrices[:, 2, 2]
    d, e, f = matrices[:, 0, 1], matrices[:, 1, 2], matrices[:, 0, 2]
    q = (a + b + c) / 3.0
    p = np.sqrt(((a - q) ** 2 + (b - q) ** 2 + (c - q) ** 2 + 2.0 * (d * d + e * e + f * f)) / 6.0)
    safe = np.where(p > 0.0, p, 1.0)
    u, v, w = (a - q) / safe, (b - q) / safe, (c - q) / safe
    d1, e1, f1 = d / safe, e / safe, f / safe
    half_det = 0.5 * (u * (v * w - e1 * e1) - d1 * (d1 * w - e1 * f1) + f1 * (d1 * e1 - v * f1))
    phi = np.arccos(np.clip(half_det, -1.0, 1.0)) / 3.0
    largest = q + 2.0 * p * np.cos(phi)
    smallest = q + 2.0 * p * np.cos(phi + 2.0 * np.pi / 3.0)
    values = np.stack([smallest, 3.0 * q - largest - smallest, largest], axis=1)

    # The eigenvector is square to the rows of A - λI: the longest of their three cross products.
    r0 = np.stack([a - smallest, d, f], axis=1)
    r1 = np.stack([d, b - smallest, e], axis=1)
    r2 = np.stack([f, e, c - smallest], axis=1)
    crosses = np.stack([_cross(r0, r1), _cross(r1, r2), _cross(r2, r0)], axis=1)
    squares = np.einsum("mij,mij->mi", crosses, crosses)
    best = squares.argmax(axis=1)
    rows = np.arange(len(best))
    vector, square = crosses[rows, best], squares[rows, best]
    weak = square <= 1e-28 * np.maximum(values[:, 2], 1e-300) ** 4
    length = np.sqrt(np.where(weak, 1.0, square))
    vector = vector / length[:, None]
    if weak.any():  # a line, a point or a sphere: LAPACK picks a direction
        vector[weak] = np.linalg.eigh(matrices[weak])[1][:, :, 0]
    return values, vector


def fit_planes(moments: Array) -> tuple[Array, Array, Array]:
    """Orthogonal-distance planes of rows of moments.

    Parameters
    ----------
    moments : array, shape (m, 10), at least one point in each row

    Returns
    -------
    centroid : array, shape (m, 3) [m]
    normal : array, shape (m, 3)
        Unit, z >= 0.
    spread : array, shape (m, 3) [m²]
        Variances along the principal axes, ascending, divisor n: the first one is the mean square residual.
    """
    centroid, covariance = mean_and_covariance(moments)
    spread, normal = symmetric_eigen(covariance)
    normal = np.where(normal[:, 2:] < 0.0, -normal, normal)
    return centroid, normal, np.maximum(spread, 0.0)


def fit_plane_weighted(moments: Array, plan_to_height: float) -> tuple[Array, Array, float]:
    """Plane of one row of moments when errors in plan are larger or smaller than in height.

    Parameters
    ----------
    moments : array, shape (10,)
        With at least three points that are not on a line.
    plan_to_height : float
        Standard deviation of a plan coordinate over that of the height; 1 is the orthogonal fit, 0 a
        regression of the height on the plan position.

    Returns
    -------
    centroid : array, shape (3,) [m]
    normal : array, shape (3,)
        Unit, z >= 0.
    rms_m : float
        Root mean square orthogonal residual.

    Notes
    -----
    Maximum likelihood for independent errors with those variances: generalised total least squares, the
    smallest eigenvalue of C v = λ diag(k², k², 1) v.
    """
    mean, covariance = mean_and_covariance(moments[None, :])
    scatter = covariance[0]
    scale = np.array([plan_to_height, plan_to_height, 1.0])
    if plan_to_height > 0.0:
        scaled = scatter / np.outer(scale, scale)
        normal = np.linalg.eigh(scaled)[1][:, 0] / scale
    else:
        slope = np.linalg.solve(scatter[:2, :2], scatter[:2, 2])
        normal = np.array([-slope[0], -slope[1], 1.0])
    normal /= np.linalg.norm(normal)
    if normal[2] < 0.0:
        normal = -normal
    return mean[0], normal, float(np.sqrt(max(normal @ scatter @ normal, 0.0)))


def _cross(a: Array, b: Array) -> Array:
    """Cross products of rows, without the overhead of numpy's general one."""
    return np.stack(
        [
            a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1],
            a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2],
            a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0],
        ],
        axis=1,
    )
