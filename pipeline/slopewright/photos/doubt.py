"""How well a model's cameras are known: the covariance that its own observations give them.

A model has no size, place or turn of its own; the covariance is that of its inner geometry (free network),
with the points' middle as the origin and their spread as the unit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from ..scene import Array, lock
from .placed import Model

Rows = npt.NDArray[np.int64]

POSE, LENS = (
    6,
    5,
)  # parameters: a turn and a shift of what the camera sees [rad, frame's unit]; f, cx, cy, k1, k2
GAUGE = 7  # size, place and turn, which no photo tells
# Before the photos speak: f and principal point over the long side, and the two terms of distortion.  Wide:
# telephones, drones and zooms; they only keep what is not determined from being infinitely doubtful.
LENS_PRIOR_SD = (0.1, 0.01, 0.01, 0.1, 0.1)
MOST_POINTS = 6000  # that are looked at; of more, every so many-th, and the information scaled up
OUTLIER_SDS = 4.0  # residuals beyond this many robust standard deviations say nothing of the noise
MAD_TO_SD = 1.4826  # of a normal distribution
# Bundle adjustments promise more than they keep: neighbouring features err together, and lenses have more
# terms than two.  Focal lengths of exact sets were up to 2.8 of their standard deviations off.
OPTIMISM = 2.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CameraDoubt:
    """The joint covariance of all poses and lenses of a model."""

    covariance: Array  # (6 n + 5 g, 6 n + 5 g): poses in the order of the photos, then the lenses
    lens_row: tuple[int, ...]  # first row of each photo's lens
    noise_px: float  # standard deviation of one coordinate of an observation

    def __post_init__(self) -> None:
        lock(self.covariance)

    def lens_sd(self, photo: int) -> Array:
        """Standard uncertainties of f, cx, cy [px], k1 and k2."""
        at = slice(self.lens_row[photo], self.lens_row[photo] + LENS)
        return np.sqrt(np.diag(self.covariance)[at])


def camera_doubt(model: Model) -> CameraDoubt:
    """The covariance of a model's cameras, from the normal equations of its bundle adjustment.

    Parameters
    ----------
    model : Model

    Returns
    -------
    CameraDoubt

    References
    ----------
    .. [1] B. Triggs, P. McLauchlan, R. Hartley, A. Fitzgibbon, "Bundle Adjustment: A Modern Synthesis," LNCS
       1883, 2000, doi:10.1007/3-540-44480-7_21: 6.1 (Schur complement), 9.3 (inner constraints).
    """
    n = len(model.names)
    numbers, lens_of = np.unique(model.camera, return_inverse=True)
    lens_row = (POSE * n + LENS * lens_of).astype(np.int64)
    every = -(-len(model.points) // MOST_POINTS)
    chosen = model.seen_point % every == 0
    photo, point = model.seen_photo[chosen], model.seen_point[chosen] // every
    p = -(-len(model.points) // every)
    expected, by_pose, by_lens, by_point = projection_slopes(
        model.lens[photo], model.rotation[photo], model.translation[photo], model.points[::every][point]
    )
    residual = model.pixels[chosen] - expected
    noise = _noise(residual, n_unknown=POSE * n + 3 * p)
    m = len(photo)
    rows = np.arange(2 * m, dtype=np.int64).reshape(m, 2)
    size = POSE * n + LENS * len(numbers)
    cameras = _scatter(rows, POSE * photo, by_pose, (2 * m, size)) + _scatter(
        rows, lens_row[photo], by_lens, (2 * m, size)
    )
    points = _scatter(rows, 3 * point, by_point, (2 * m, 3 * p))
    own = np.zeros((p, 3, 3))
    np.add.at(own, point, np.einsum("mia,mib->mab", by_point, by_point))
    blocks = np.linalg.pinv(own)
    inverse = sparse.bsr_matrix((blocks, np.arange(p), np.arange(p + 1)), shape=(3 * p, 3 * p)).tocsr()
    mixed = (cameras.T @ points).tocsr()
    normal = (cameras.T @ cameras - mixed @ inverse @ mixed.T).toarray() * (len(model.points) / p / noise**2)
    long_side = 2 * np.max(model.lens[:, 1:3])
    prior_sd = np.array(LENS_PRIOR_SD) * [long_side, long_side, long_side, 1, 1]
    for row in np.unique(lens_row):
        at = np.arange(row, row + LENS)
        normal[at, at] += prior_sd**-2
    return CameraDoubt(
        covariance=OPTIMISM**2 * _free_inverse(normal, _gauge(model, size)),
        lens_row=tuple(int(row) for row in lens_row),
        noise_px=noise,
    )


def projection_slopes(
    lens: Array, rotation: Array, translation: Array, points: Array
) -> tuple[Array, Array, Array, Array]:
    """Pixels of points, and how they move with pose, lens and point.

    Parameters
    ----------
    lens : array, shape (m, 5)
        Focal length, principal point [px], k1, k2, one row an observation, as all arguments.
    rotation, translation : array, shape (m, 3, 3), (m, 3)
        Frame to camera.
    points : array, shape (m, 3)

    Returns
    -------
    pixels : array, shape (m, 2)
    by_pose : array, shape (m, 2, 6)
        By a small turn, then a shift, of what the camera sees, in camera axes.
    by_lens : array, shape (m, 2, 5)
    by_point : array, shape (m, 2, 3)
    """
    seen = np.einsum("mij,mj->mi", rotation, points) + translation
    x, y, z = seen.T
    flat = seen[:, :2] / z[:, None]
    squared = (flat**2).sum(axis=1)
    f, k1, k2 = lens[:, 0], lens[:, 3], lens[:, 4]
    bend = 1 + k1 * squared + k2 * squared**2
    pixels = f[:, None] * bend[:, None] * flat + lens[:, 1:3]
    zero, one = np.zeros(len(z)), np.ones(len(z))
    by_flat = f[:, None, None] * (
        bend[:, None, None] * np.eye(2)
        + (2 * (k1 + 2 * k2 * squared))[:, None, None] * flat[:, :, None] * flat[:, None, :]
    )
    flat_by_seen = np.stack([one, zero, -flat[:, 0], zero, one, -flat[:, 1]], axis=1).reshape(-1, 2, 3)
    by_seen = by_flat @ (flat_by_seen / z[:, None, None])
    turn = np.stack([zero, z, -y, -z, zero, x, y, -x, zero], axis=1).reshape(-1, 3, 3)
    by_pose = np.concatenate([by_seen @ turn, by_seen], axis=2)
    radial = f[:, None] * flat
    by_lens = np.stack(
        [
            bend[:, None] * flat,
            np.column_stack([one, zero]),
            np.column_stack([zero, one]),
            radial * squared[:, None],
            radial * (squared**2)[:, None],
        ],
        axis=2,
    )
    return pixels, by_pose, by_lens, by_seen @ rotation


def _noise(residual: Array, n_unknown: int) -> float:
    """Standard deviation of one coordinate, outliers left out, unknowns allowed for."""
    rough = MAD_TO_SD * float(np.median(np.abs(residual)))
    inside = residual[np.abs(residual).max(axis=1) < OUTLIER_SDS * max(rough, 1e-6)]
    freedom = max(inside.size - n_unknown, inside.size // 4)
    return float(np.sqrt((inside**2).sum() / freedom))


def _scatter(rows: Rows, first: Rows, blocks: Array, shape: tuple[int, int]) -> sparse.csr_matrix:
    """Blocks (m, 2, k) at rows (m, 2) and at columns that begin at `first`."""
    k = blocks.shape[2]
    columns = first[:, None, None] + np.arange(k)
    row = np.broadcast_to(rows[:, :, None], blocks.shape)
    column = np.broadcast_to(columns, blocks.shape)
    return sparse.csr_matrix((blocks.ravel(), (row.ravel(), column.ravel())), shape=shape)


def _gauge(model: Model, size: int) -> Array:
    """How poses change when the frame is shifted, turned and scaled about the points' middle; (size, 7)."""
    middle = np.median(model.points, axis=0)
    change = np.zeros((size, GAUGE))
    for i, (rotation, translation) in enumerate(zip(model.rotation, model.translation, strict=True)):
        at = POSE * i
        change[at + 3 : at + 6, :3] = rotation
        here = rotation @ middle + translation  # the middle as the camera sees it
        change[at : at + 3, 3:6] = rotation
        change[at + 3 : at + 6, 3:6] = _cross(here) @ rotation
        change[at + 3 : at + 6, 6] = here
    return change


def _cross(v: Array) -> Array:
    return np.array([[0, -v[2], v[1]], [v[2], 0, -v[0]], [-v[1], v[0], 0]])


def _free_inverse(normal: Array, gauge: Array) -> Array:
    """The inverse of a singular normal matrix under inner constraints on what `gauge` leaves open."""
    scale = 1 / np.sqrt(
        np.maximum(np.diag(normal), 1e-300)
    )  # turns, shifts and lenses have very different sizes
    scaled = normal * scale[:, None] * scale
    null, _ = np.linalg.qr(gauge / scale[:, None])
    fixed = scaled + null @ null.T
    free = np.linalg.inv(fixed) - null @ null.T
    return np.asarray((free + free.T) / 2 * scale[:, None] * scale)
