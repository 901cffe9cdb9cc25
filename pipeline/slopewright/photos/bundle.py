"""Bundle adjustment over marks: cameras, lenses and points as one vector with one covariance.

A few dozen points in a few dozen photos: dense normal equations do.  Priors on the lens, and known lengths,
are observations beside the marks.  Nothing fixes where the block stands or how it is turned: what is reported
of it does not depend on that.  Metres, radians, pixels; x_camera = R (X - C).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.spatial.transform import Rotation

from ..errors import DegenerateGeometryError
from ..scene import Array, lock

Index = npt.NDArray[np.int64]

CENTRE_SD = 0.0075  # of the principal point, of the photo's long side: telephones and drones lie within it
K1_SD, K2_SD = 0.08, 0.08  # of the lens: software of telephones and drones leaves less
MOST_STEPS = 60
SETTLED = 1e-6  # relative gain of a step, after which there is no other
ROBUST = 3.0  # standard deviations, beyond which a mark counts less while blunders may be among them
LENS_SIZE, POSE_SIZE = 5, 6
MIN_DEPTH = 1e-3  # of the block's size; a point nearer to a camera's plane or behind it repels


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sights:
    """What was marked: one row an observation."""

    photo: Index  # (m,)
    mark: Index  # (m,)
    xy: Array  # (m, 2) [px]
    u_px: Array  # (m,)

    def __post_init__(self) -> None:
        lock(self.photo, self.mark, self.xy, self.u_px)

    def rows(self, keep: npt.NDArray[np.bool_]) -> Sights:
        """Some of them."""
        return Sights(photo=self.photo[keep], mark=self.mark[keep], xy=self.xy[keep], u_px=self.u_px[keep])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LensPrior:
    """What is known of the lenses before: one row a camera."""

    focal_px: Array  # (g,)
    focal_sd: Array  # (g,) relative
    centre_px: Array  # (g, 2)
    centre_sd_px: Array  # (g,)
    of_photo: Index  # (n,) camera of each photo


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """A known length: between the means of two groups of marks."""

    name: str
    ends: tuple[tuple[int, ...], tuple[int, ...]]  # rows of points
    length_m: float
    u_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Net:
    """Cameras and points."""

    lens: Array  # (g, 5) ln of focal length over its prior, shift of the principal point [px], k1, k2
    rotation: Array  # (n, 3, 3)
    centre: Array  # (n, 3)
    points: Array  # (p, 3)
    posed: npt.NDArray[np.bool_]  # (n,) photos that are placed
    known: npt.NDArray[np.bool_]  # (p,) points that are placed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solved:
    """An adjusted net, with what remains."""

    net: Net
    sights: Sights  # that were used
    cost: float  # sum of squares, in standard deviations, of marks, priors and lengths
    residual_px: Array  # (m, 2) marked less expected
    n_lengths: int
    inverse: Array  # (q, q) of the normal matrix, in a gauge of no meaning
    layout: Layout
    design: Array  # (k, q) rows of the marks, in standard deviations

    @property
    def freedom(self) -> int:
        """Observations more than unknowns; the gauge is none of them."""
        n_rows = len(self.design) + LENS_SIZE * self.layout.n_lenses + self.n_lengths
        return n_rows - self.layout.size + (6 if self.n_lengths else 7)

    def points_covariance(self) -> Array:
        """(3 p', 3 p') of the placed points in the order of `layout.points`, in a gauge of no meaning."""
        at = self.layout.first_point
        return self.inverse[at:, at:]


class Layout:
    """Where in the vector things stand."""

    def __init__(self, net: Net) -> None:
        self.n_lenses = len(net.lens)
        self.photos = np.flatnonzero(net.posed)
        self.points = np.flatnonzero(net.known)
        self.first_pose = LENS_SIZE * self.n_lenses
        self.first_point = self.first_pose + POSE_SIZE * len(self.photos)
        self.size = self.first_point + 3 * len(self.points)
        self.pose_of = np.full(len(net.posed), -1)
        self.pose_of[self.photos] = np.arange(len(self.photos))
        self.point_of = np.full(len(net.known), -1)
        self.point_of[self.points] = np.arange(len(self.points))


def project(net: Net, prior: LensPrior, sights: Sights) -> tuple[Array, Array, Array]:
    """Pixels of the sights (m, 2), in camera axes the points (m, 3), and the flat coordinates (m, 2)."""
    camera = _in_camera(net, sights)
    depth = np.where(camera[:, 2] > 0, camera[:, 2], np.nan)
    flat = camera[:, :2] / depth[:, None]
    group = prior.of_photo[sights.photo]
    f = prior.focal_px[group] * np.exp(net.lens[group, 0])
    squared = (flat**2).sum(axis=1)
    bend = 1 + net.lens[group, 3] * squared + net.lens[group, 4] * squared**2
    pixel = f[:, None] * flat * bend[:, None] + prior.centre_px[group] + net.lens[group, 1:3]
    return pixel, camera, flat


def solve(net: Net, prior: LensPrior, sights: Sights, lengths: Sequence[Length] = ()) -> Solved:
    """Adjust a net and say how well it is known.

    Parameters
    ----------
    net : Net
        Start values.
    prior : LensPrior
    sights : Sights
        Those of photos and points that are not placed are left out.
    lengths : sequence of Length
        Known lengths whose points are all placed.

    Returns
    -------
    Solved

    Raises
    ------
    DegenerateGeometryError
        If the marks do not determine the net.
    """
    return judged(adjusted(net, prior, sights, lengths), prior, sights, lengths)


def adjusted(
    net: Net,
    prior: LensPrior,
    sights: Sights,
    lengths: Sequence[Length] = (),
    *,
    robust: bool = False,
    most_steps: int = MOST_STEPS,
) -> Net:
    """Adjust a net by Levenberg and Marquardt.

    Parameters
    ----------
    net : Net
        Start values.
    prior : LensPrior
    sights : Sights
        Those of photos and points that are not placed are left out.
    lengths : sequence of Length
        Known lengths whose points are all placed.
    robust : bool
        Cauchy's loss: marks that contradict count less, wild ones next to nothing.
    most_steps : int

    Returns
    -------
    Net

    References
    ----------
    .. [1] B. Triggs, P. McLauchlan, R. Hartley, A. Fitzgibbon, "Bundle adjustment: a modern synthesis," 2000,
       doi:10.1007/3-540-44480-7_21, sections 4, 6 and 9 (gauge).
    """
    layout = Layout(net)
    system = _System(prior, _of_placed(net, sights), lengths, layout, robust=robust)
    damping = 1e-3
    residual, jacobian = system.linear(net)
    cost = float(residual @ residual)
    for _ in range(most_steps):
        normal = jacobian.T @ jacobian
        right = -jacobian.T @ residual
        gain = 0.0
        while damping < 1e9:
            diagonal = np.diag(normal)
            damped = normal + np.diag(damping * diagonal + 1e-12 * diagonal.max())
            try:
                step = np.asarray(np.linalg.solve(damped, right), dtype=np.float64)
            except np.linalg.LinAlgError:
                damping *= 4
                continue
            moved = _moved(net, layout, step)
            new_residual = system.residual(moved)
            new_cost = float(new_residual @ new_residual)
            if np.isfinite(new_cost) and new_cost < cost:
                gain = (cost - new_cost) / cost
                net, damping = moved, max(damping / 5, 1e-9)
                break
            damping *= 4
        if gain == 0.0:
            break
        residual, jacobian = system.linear(net)
        cost = float(residual @ residual)
        if gain < SETTLED:
            break
    return net


def _of_placed(net: Net, sights: Sights) -> Sights:
    return sights.rows(net.posed[sights.photo] & net.known[sights.mark])


def judged(net: Net, prior: LensPrior, sights: Sights, lengths: Sequence[Length] = ()) -> Solved:
    """What remains of the marks in an adjusted net, and how well it is known: see `solve`."""
    sights, layout = _of_placed(net, sights), Layout(net)
    system = _System(prior, sights, lengths, layout, robust=False)
    residual, jacobian = system.linear(net)
    normal = jacobian.T @ jacobian
    gauge = _gauge(net, layout, scale=not lengths)
    # gauge directions at the size of the others: any value gives the same answers
    weight = np.trace(normal) / layout.size
    try:
        inverse = np.linalg.inv(normal + weight * gauge @ gauge.T)
    except np.linalg.LinAlgError:
        inverse = np.full_like(normal, np.nan)
    if not (np.isfinite(residual).all() and np.isfinite(inverse).all() and (np.diag(inverse) > 0).all()):
        raise DegenerateGeometryError(
            "marks: they do not fix where the photos stood, need more corners in common, not all on one line"
        )
    m = 2 * len(sights.photo)
    return Solved(
        net=net,
        sights=sights,
        cost=float(residual @ residual),
        residual_px=-residual[:m].reshape(-1, 2) * sights.u_px[:, None],
        n_lengths=len(lengths),
        inverse=inverse,
        layout=layout,
        design=jacobian[:m],
    )


class _System:
    """Residuals in standard deviations: marks, lenses, lengths."""

    def __init__(
        self, prior: LensPrior, sights: Sights, lengths: Sequence[Length], layout: Layout, *, robust: bool
    ) -> None:
        self.prior, self.sights, self.lengths, self.layout = prior, sights, lengths, layout
        self.robust = robust
        sd = np.column_stack(
            [
                prior.focal_sd,
                prior.centre_sd_px,
                prior.centre_sd_px,
                np.full(len(prior.focal_sd), K1_SD),
                np.full(len(prior.focal_sd), K2_SD),
            ]
        )
        self.lens_sd = sd

    def residual(self, net: Net) -> Array:
        pixel, camera, _ = project(net, self.prior, self.sights)
        marks = (pixel - self.sights.xy) / self.sights.u_px[:, None]
        if not (camera[:, 2] > MIN_DEPTH * _size(net)).all():
            return np.array([np.inf])
        marks = marks * self._weights(marks)[:, None]
        return np.concatenate([marks.ravel(), (net.lens / self.lens_sd).ravel(), self._lengths(net)[0]])

    def linear(self, net: Net) -> tuple[Array, Array]:
        """Residuals (k,) and their derivatives (k, q)."""
        sights, layout = self.sights, self.layout
        pixel, camera, flat = project(net, self.prior, sights)
        m = len(pixel)
        group = self.prior.of_photo[sights.photo]
        f = self.prior.focal_px[group] * np.exp(net.lens[group, 0])
        k1, k2 = net.lens[group, 3], net.lens[group, 4]
        squared = (flat**2).sum(axis=1)
        bend = 1 + k1 * squared + k2 * squared**2
        slope = k1 + 2 * k2 * squared
        # pixels by flat coordinates, by camera axes
        by_flat = f[:, None, None] * (
            bend[:, None, None] * np.eye(2) + 2 * slope[:, None, None] * flat[:, :, None] * flat[:, None, :]
        )
        z = camera[:, 2]
        by_camera = np.zeros((m, 2, 3))
        by_camera[:, 0, 0] = by_camera[:, 1, 1] = 1 / z
        by_camera[:, :, 2] = -flat / z[:, None]
        by_camera = by_flat @ by_camera
        by_point = by_camera @ net.rotation[sights.photo]
        # a small turn w after R: camera axes move by w x (R (X - C))
        by_turn = by_camera @ -_skew(camera)
        jacobian = np.zeros((2 * m, layout.size))
        row = np.arange(m)

        def put(first: npt.NDArray[np.int64], values: Array) -> None:
            for k in range(values.shape[2]):
                jacobian[2 * row, first + k] = values[:, 0, k]
                jacobian[2 * row + 1, first + k] = values[:, 1, k]

        lens = np.zeros((m, 2, LENS_SIZE))
        lens[:, :, 0] = f[:, None] * flat * bend[:, None]
        lens[:, 0, 1] = lens[:, 1, 2] = 1.0
        lens[:, :, 3] = f[:, None] * flat * squared[:, None]
        lens[:, :, 4] = f[:, None] * flat * (squared**2)[:, None]
        put(LENS_SIZE * group, lens)
        pose = layout.first_pose + POSE_SIZE * layout.pose_of[sights.photo]
        put(pose, by_turn)
        put(pose + 3, -by_point)
        put(layout.first_point + 3 * layout.point_of[sights.mark], by_point)
        marks = (pixel - sights.xy) / sights.u_px[:, None]
        weights = self._weights(marks)
        marks = marks * weights[:, None]
        jacobian *= np.repeat(weights / sights.u_px, 2)[:, None]
        lens_rows = np.zeros((self.lens_sd.size, layout.size))
        lens_rows[:, : self.lens_sd.size] = np.diag(1 / self.lens_sd.ravel())
        length_residual, length_rows = self._lengths(net)
        return (
            np.concatenate([marks.ravel(), (net.lens / self.lens_sd).ravel(), length_residual]),
            np.concatenate([jacobian, lens_rows, length_rows]),
        )

    def _weights(self, marks: Array) -> Array:
        """Roots of Cauchy's rho over the squares: residuals times these have the robust cost."""
        if not self.robust:
            return np.ones(len(marks))
        square = np.maximum((marks**2).sum(axis=1), 1e-12) / ROBUST**2
        return np.asarray(np.sqrt(np.log1p(square) / square))

    def _lengths(self, net: Net) -> tuple[Array, Array]:
        residual = np.zeros(len(self.lengths))
        rows = np.zeros((len(self.lengths), self.layout.size))
        for r, known in enumerate(self.lengths):
            start, end = (net.points[list(end)].mean(axis=0) for end in known.ends)
            distance = float(np.linalg.norm(end - start))
            along = (end - start) / distance
            residual[r] = (distance - known.length_m) / known.u_m
            for sign, group in zip((-1, 1), known.ends, strict=True):
                for point in group:
                    at = self.layout.first_point + 3 * self.layout.point_of[point]
                    rows[r, at : at + 3] += sign * along / len(group) / known.u_m
        return residual, rows


def _in_camera(net: Net, sights: Sights) -> Array:
    away = net.points[sights.mark] - net.centre[sights.photo]
    return np.asarray((net.rotation[sights.photo] @ away[:, :, None])[:, :, 0])


def _size(net: Net) -> float:
    points = net.points[net.known]
    return float(np.linalg.norm(points - points.mean(axis=0), axis=1).max())


def _skew(v: Array) -> Array:
    zero = np.zeros(len(v))
    rows = [zero, -v[:, 2], v[:, 1], v[:, 2], zero, -v[:, 0], -v[:, 1], v[:, 0], zero]
    return np.stack(rows, axis=-1).reshape(-1, 3, 3)


def _moved(net: Net, layout: Layout, step: Array) -> Net:
    lens = net.lens + step[: layout.first_pose].reshape(-1, LENS_SIZE)
    pose = step[layout.first_pose : layout.first_point].reshape(-1, POSE_SIZE)
    rotation, centre, points = net.rotation.copy(), net.centre.copy(), net.points.copy()
    rotation[layout.photos] = Rotation.from_rotvec(pose[:, :3]).as_matrix() @ rotation[layout.photos]
    centre[layout.photos] += pose[:, 3:]
    points[layout.points] += step[layout.first_point :].reshape(-1, 3)
    return replace(net, lens=lens, rotation=rotation, centre=centre, points=points)


def _gauge(net: Net, layout: Layout, *, scale: bool) -> Array:
    """Orthonormal directions (q, 6 or 7) in which all may move together and no mark moves."""
    points, centre = net.points[layout.points], net.centre[layout.photos]
    middle = points.mean(axis=0)
    columns = []
    for axis in np.eye(3):
        column = np.zeros(layout.size)
        column[layout.first_point :] = np.tile(axis, len(points))
        pose = column[layout.first_pose : layout.first_point].reshape(-1, POSE_SIZE)
        pose[:, 3:] = axis
        columns.append(column)
    for axis in np.eye(3):
        column = np.zeros(layout.size)
        column[layout.first_point :] = np.cross(axis, points - middle).ravel()
        pose = column[layout.first_pose : layout.first_point].reshape(-1, POSE_SIZE)
        pose[:, 3:] = np.cross(axis, centre - middle)
        pose[:, :3] = -(net.rotation[layout.photos] @ axis)
        columns.append(column)
    if scale:
        column = np.zeros(layout.size)
        column[layout.first_point :] = (points - middle).ravel()
        pose = column[layout.first_pose : layout.first_point].reshape(-1, POSE_SIZE)
        pose[:, 3:] = centre - middle
        columns.append(column)
    return np.asarray(np.linalg.qr(np.column_stack(columns))[0])
