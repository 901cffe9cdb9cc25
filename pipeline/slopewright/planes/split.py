"""Planes that ran over a crease, cut in two along the line that parts them best.  Metres."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..geometry.moments import Array, sum_by_label
from ..geometry.planefit import fit_planes
from .atoms import Atoms
from .config import PlanesConfig
from .model import Labels, PlaneSet, planes_of

N_WAYS = 8  # directions of the cut, 22.5 degrees apart: the search for points of each half mends the rest
N_CUTS = 16  # strips across a plane; a cut runs between two of them
HALF_AREA_M2 = 3.0  # smaller halves are left to growing among what no plane explains
SURE = 1.5  # a cut must gain this many times what keeps two planes from being merged


def split_bent(atoms: Atoms, labels: Labels, noise_m: float, config: PlanesConfig) -> Labels:
    """Cut planes that are better described as two.

    Parameters
    ----------
    atoms : Atoms
    labels : int32 array, shape (m,)
        Compact.
    noise_m : float
        Standard deviation of the points across a plane [m].
    config : PlanesConfig

    Returns
    -------
    int32 array, shape (m,)
        Second halves are numbered on from the highest label.

    Notes
    -----
    The gain is that of a merger turned round: what two planes explain more than one, in noise variances per
    point of the smaller half.  So a cut that is made is not undone by the next merger.
    """
    rho = SURE * (config.merge_rho_dense if atoms.dense else config.merge_rho_sparse)
    planes = planes_of(atoms, labels)
    result = labels.copy()
    n_labels = len(planes)
    for k in np.flatnonzero(planes.area_m2 > 2.0 * HALF_AREA_M2):
        members = np.flatnonzero(labels == k)
        beyond = _best_cut(atoms, members, planes, int(k), rho, noise_m)
        if beyond is not None:
            result[members[beyond]] = n_labels
            n_labels += 1
    return result


def _best_cut(
    atoms: Atoms, members: npt.NDArray[np.int64], planes: PlaneSet, k: int, rho: float, noise_m: float
) -> npt.NDArray[np.bool_] | None:
    """The atoms beyond the cut that leaves the least scatter, of those that gain more than their price."""
    plan = atoms.centre[members, :2] - planes.centroid[k, :2]
    # along the contour and fall line first: creases mostly run so
    turn = np.arctan2(planes.normal[k, 1], planes.normal[k, 0]) + np.arange(N_WAYS) * np.pi / N_WAYS
    across = plan @ np.stack([np.cos(turn), np.sin(turn)])
    low, high = across.min(axis=0), across.max(axis=0)
    strip = ((across - low) / np.maximum(high - low, 1e-9) * N_CUTS).astype(np.int64)
    strip = np.minimum(strip, N_CUTS - 1)
    of_cut = np.stack([sum_by_label(atoms.moments[members], strip[:, way], N_CUTS) for way in range(N_WAYS)])
    one = np.cumsum(of_cut, axis=1)[:, :-1].reshape(-1, of_cut.shape[2])
    n, whole = one[:, 0], planes.moments[k]
    # points stand for their share of the area: as many on each side as the smallest half holds
    fewest = HALF_AREA_M2 / planes.area_m2[k] * whole[0]
    fair = np.flatnonzero(np.minimum(n, whole[0] - n) >= fewest)
    if not len(fair):
        return None
    one, n = one[fair], np.minimum(n, whole[0] - n)[fair]
    left = _scatter(one) + _scatter(whole - one)
    # a face may be rougher than the usual one: what is left then is its noise
    noise_m2 = np.maximum(left / whole[0], noise_m**2)
    pays = whole[0] * planes.variance_m2[k] - left > rho * noise_m2 * n
    if not pays.any():
        return None
    way, cut = divmod(int(fair[np.where(pays, left, np.inf).argmin()]), N_CUTS - 1)
    beyond: npt.NDArray[np.bool_] = strip[:, way] > cut
    return beyond


def _scatter(moments: Array) -> Array:
    """Sum of squared residuals about each row's own plane [m²]."""
    scatter: Array = moments[:, 0] * fit_planes(moments)[2][:, 0]
    return scatter
