"""How well each plane is known, when neighbouring points err together.  Metres.

The residuals of all large faces together show how the noise is correlated in space; one face alone does not.
Faces are cut into cells; a cell's mean residual is one observation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry.moments import Array, mean_and_covariance
from ..scene import lock
from .atoms import Atoms
from .cells import Cells, cell_side, face_cells, fine_window
from .model import Labels, PlaneSet

LENGTHS_M = (0.2, 0.4, 0.8, 1.6, 3.2)  # candidates of the correlation length
# Candidates of the correlated share of the variance; the first one, 2 %, is the declared floor.
SHARES = (0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.96)
LARGE_AREA_M2 = 4.0  # faces that show the correlation
MAX_FACES = 12
WITHIN_WEIGHT = 3.0  # scatter within cells counts at most this many times the scatter between them
INDEPENDENT = 0.1  # below this share the noise is called independent
# Along its edges a face of a sparse cloud has points of beams that met two surfaces, and of its neighbour: in
# a band so wide its points err together by as much as one does.  A quarter of a common beam and a share of
# the spacing; found on simulated scans with beams of 15 to 40 cm at 4 to 25 points/m².
BEAM_BAND_M = 0.06
SPACING_BAND = 0.15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Correlation:
    """What the residuals say about the noise: a weight for each correlation length.

    The noise is `white_m2` times independent noise plus, for each length, `correlated_m2` times noise with
    Matérn
    correlation of smoothness 3/2, (1 + r) exp(-r) with r = sqrt(3) distance / length.  Each is a mean over
    what the data leave possible.
    """

    white_m2: float
    correlated_m2: Array  # (len(LENGTHS_M),)
    length_m: float  # 0 if the noise is independent

    def __post_init__(self) -> None:
        lock(self.correlated_m2)


def correlation(atoms: Atoms, labels: Labels, planes: PlaneSet) -> Correlation:
    """Estimate the noise's correlation from the residuals of all large faces.

    Parameters
    ----------
    atoms : Atoms
    labels : int32 array, shape (m,)
    planes : PlaneSet
        Fitted to these labels.

    Returns
    -------
    Correlation

    Notes
    -----
    Restricted likelihood of the cells' means given each face's own plane (three parameters a face are taken
    out, so that the plane's flexibility does not hide the correlation), evaluated on a grid of length and
    share and averaged with a flat prior on it: with few faces the bounds stay wide.
    """
    order = np.argsort(-planes.area_m2, kind="stable")
    large = [int(k) for k in order[:MAX_FACES] if planes.area_m2[k] > LARGE_AREA_M2] or [int(order[0])]
    pieces: list[Cells] = []
    for k in large:
        members = np.flatnonzero(labels == k)
        pieces.append(face_cells(atoms, members, planes, k, cell_side(atoms, planes.area_m2[k])))
        fine = cell_side(atoms, 0.0)
        if pieces[-1].side_m > 1.5 * fine:
            pieces.append(fine_window(face_cells(atoms, members, planes, k, fine)))
    pieces = [piece for piece in pieces if len(piece.count) > 6]
    if not pieces:
        return Correlation(
            white_m2=float(planes.variance_m2[large[0]]),
            correlated_m2=np.full(len(LENGTHS_M), planes.variance_m2[large[0]] / len(LENGTHS_M)),
            length_m=0.0,
        )
    deviance, total = _deviance(pieces)
    weight = np.exp(-0.5 * (deviance - deviance.min()))
    weight /= weight.sum()
    share = np.array(SHARES)
    per_length = (weight * total * share).sum(axis=1)
    likely = weight[:, share >= INDEPENDENT].sum()
    length = float(np.exp(np.average(np.log(LENGTHS_M), weights=per_length))) if likely > 0.5 else 0.0
    return Correlation(
        white_m2=float((weight * total * (1.0 - share)).sum()), correlated_m2=per_length, length_m=length
    )


def plane_covariance(atoms: Atoms, labels: Labels, planes: PlaneSet, k: int, noise: Correlation) -> Array:
    """Covariance of a plane's slopes and height.

    Parameters
    ----------
    atoms : Atoms
    labels : int32 array, shape (m,)
    planes : PlaneSet
    k : int
        The plane.
    noise : Correlation

    Returns
    -------
    array, shape (3, 3)
        Of dz/dx, dz/dy and the height at the centroid [1, 1, m].
    """
    cells = face_cells(atoms, np.flatnonzero(labels == k), planes, k, cell_side(atoms, planes.area_m2[k]))
    design = np.column_stack([cells.plan, np.ones(len(cells.count))])
    normal_matrix = (design * cells.count[:, None]).T @ design
    ridge = 1e-9 * np.trace(normal_matrix) * np.eye(3)
    inverse = np.linalg.inv(normal_matrix + ridge)
    weighted = design * cells.count[:, None]
    covariance = noise.white_m2 * inverse
    inner = np.einsum("ci,lcd,dj->lij", weighted, _kernels(cells), weighted, optimize=True)
    covariance = covariance + inverse @ np.tensordot(noise.correlated_m2, inner, axes=1) @ inverse
    own = max(float(planes.variance_m2[k]) / (noise.white_m2 + float(noise.correlated_m2.sum())), 1.0)
    upright = float(planes.normal[k, 2])
    symmetric: Array = own * 0.5 * (covariance + covariance.T)
    if not atoms.dense:
        symmetric += float(planes.variance_m2[k]) * _edge_share(planes.moments[k], atoms.spacing_m)
    return symmetric / upright**2


def _edge_share(moments: Array, spacing_m: float) -> Array:
    """Covariance of a plane's slopes and height when each edge's band of points errs by one unit on its own.

    For a rectangle of sides a, b with the spread of the face's points: a band of width w at both ends of side
    a turns the plane by 6 w / a² each and lifts it by w / a each.
    """
    _, scatter = mean_and_covariance(moments[None, :])
    square, way = np.linalg.eigh(scatter[0, :2, :2])
    square = 12.0 * np.maximum(square, (0.5 * spacing_m) ** 2)  # sides of the rectangle, squared
    band_m = BEAM_BAND_M + SPACING_BAND * spacing_m
    share = np.zeros((3, 3))
    share[:2, :2] = (way * (72.0 * band_m**2 / square**2)) @ way.T
    share[2, 2] = 2.0 * band_m**2 * float((1.0 / square).sum())
    return share


def _kernels(cells: Cells) -> Array:
    """Covariances of the cells' means for unit noise of each of `LENGTHS_M`, shape (lengths, c, c).

    Averaged over a pair of cells by 4 x 4 points in each; a cell of few points averages less over itself.
    """
    step = np.arange(-3, 4) / 4.0
    part = (4.0 - 4.0 * np.abs(step)) / 16.0
    extent = np.ptp(cells.index, axis=0) + 1
    lag_u = np.arange(extent[0])[:, None, None, None] + step[None, None, :, None]
    lag_v = np.arange(extent[1])[None, :, None, None] + step[None, None, None, :]
    lag = np.sqrt(3.0) * cells.side_m * np.hypot(lag_u, lag_v)
    table = np.empty((len(LENGTHS_M), *extent))
    for row, length_m in zip(table, LENGTHS_M, strict=True):
        scaled = lag / length_m
        row[:] = ((1.0 + scaled) * np.exp(-scaled)) @ part @ part
    du = np.abs(cells.index[:, None, 0] - cells.index[None, :, 0])
    dv = np.abs(cells.index[:, None, 1] - cells.index[None, :, 1])
    kernels: Array = table[:, du, dv]
    own = 1.0 / cells.count[None, :] + (1.0 - 1.0 / cells.count[None, :]) * table[:, :1, 0]
    diagonal = np.arange(len(cells.count))
    kernels[:, diagonal, diagonal] = own
    return kernels


def _deviance(pieces: list[Cells]) -> tuple[Array, Array]:
    """Minus twice the log restricted likelihood, and the total variance, shape (lengths, shares) each."""
    share = np.array(SHARES)
    log_det = np.zeros((len(LENGTHS_M), len(share)))
    quadratic = np.zeros_like(log_det)
    n_between = sum(len(piece.count) - 3 for piece in pieces)
    within_dof = sum(piece.within_dof for piece in pieces)
    scale = min(1.0, WITHIN_WEIGHT * n_between / max(within_dof, 1.0))
    for piece in pieces:
        root = np.sqrt(piece.count)
        basis = np.linalg.qr(np.column_stack([piece.plan, np.ones(len(root))]) * root[:, None])[0]
        free = np.eye(len(root)) - basis @ basis.T
        kernels = _kernels(piece)
        values, vectors = np.linalg.eigh(free @ (kernels * np.outer(root, root)) @ free)
        data = free @ (root * piece.mean)
        power = ((data @ vectors) ** 2)[:, 3:]  # the first three are the plane's own freedoms
        spread = 1.0 + share[None, :, None] * (np.maximum(values[:, 3:], 0.0)[:, None, :] - 1.0)
        log_det += np.log(spread).sum(axis=2)
        quadratic += (power[:, None, :] / spread).sum(axis=2)
        several = piece.count > 1
        if several.any():  # a cell's own mean takes some of the correlated noise out of the scatter within it
            inverse = 1.0 / piece.count[several]
            diagonal = np.diagonal(kernels, axis1=1, axis2=2)[:, several]
            taken = np.mean((diagonal - inverse) / (1.0 - inverse), axis=1)
            left = 1.0 - share[None, :] * taken[:, None]
            quadratic += scale * piece.within_m2 / left
            log_det += scale * piece.within_dof * np.log(left)
    n_total = n_between + scale * within_dof
    total = quadratic / n_total
    return log_det + n_total * np.log(np.maximum(total, 1e-12)), total
