"""Region growing over atoms, a whole ring at a time.  Metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..geometry.moments import Array
from ..geometry.planefit import fit_planes
from .atoms import Atoms, neighbourhood_sum, unbiased_rms
from .config import PlanesConfig
from .model import NONE, Labels, plane_of

REFIT_GROWTH = 1.4  # a region is refitted when it has grown by this factor
SEED_NOISE = 2.0  # a seed's neighbourhood scatters less than this many standard deviations
DENSE_SEED_STRIDE = 4  # of the atoms of a dense cloud one in four may start a region: 50 a square metre
MIN_NEIGHBOURS = 4  # fewer show no slope
SEED_SUPPORT = 0.5  # share of a seed's neighbours that lie on its plane


def grow(atoms: Atoms, labels: Labels, noise_m: float, config: PlanesConfig) -> Labels:
    """Grow planes over the atoms that have none.

    Parameters
    ----------
    atoms : Atoms
    labels : int32 array, shape (m,)
        Planes that exist already; new ones are numbered on from the highest.
    noise_m : float
        Standard deviation of the points across a plane [m].
    config : PlanesConfig

    Returns
    -------
    int32 array, shape (m,)
        New labels; `NONE` where no plane of `config.seed_area_m2` grew.

    Notes
    -----
    Neighbourhoods are those among the free atoms: a small face beside a large one that is known already shows
    its own slope.
    """
    reach_m = noise_m * (config.grow_sigma_dense if atoms.dense else config.grow_sigma_sparse)
    agree = float(np.cos(config.normal_angle_rad))
    m = len(atoms)
    near = _neighbourhoods(atoms, labels)
    result = labels.copy()
    taken = np.append(labels != NONE, True)  # the padding row is never free
    last = np.empty(m + 1, dtype=np.int64)
    tried = np.zeros(m, dtype=bool)
    next_label = int(labels.max(initial=-1)) + 1
    for seed in _seeds(atoms, labels, near, noise_m, reach_m, agree):
        if taken[seed] or tried[seed]:
            continue
        members = _region(atoms, near, int(seed), taken, last, reach_m, agree)
        if atoms.area_m2[members].sum() >= config.seed_area_m2:
            result[members] = next_label
            next_label += 1
        else:
            tried[members] = True
            taken[members] = False
    return result


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Near:
    """Neighbourhoods of atoms that are free."""

    moments: Array  # (m, 10)
    normal: Array  # (m, 3); zero where too few neighbours tell
    rms_m: Array  # (m,)


def _neighbourhoods(atoms: Atoms, labels: Labels) -> _Near:
    if (labels == NONE).all():
        return _Near(moments=atoms.local, normal=atoms.normal, rms_m=atoms.local_rms_m)
    free = np.append(labels == NONE, False)
    rows = np.flatnonzero(free)
    table = np.where(free[atoms.neighbours[rows]], atoms.neighbours[rows], len(atoms))
    moments = atoms.local.copy()
    normal, rms = np.zeros_like(atoms.normal), np.full(len(atoms), np.inf)
    if len(rows):
        moments[rows] = neighbourhood_sum(atoms.moments, rows, table)
        few = (table < len(atoms)).sum(axis=1) < MIN_NEIGHBOURS
        _, fitted, spread = fit_planes(moments[rows])
        normal[rows] = np.where(few[:, None], 0.0, fitted)
        rms[rows] = np.where(few, np.inf, unbiased_rms(moments[rows], spread))
    return _Near(moments=moments, normal=normal, rms_m=rms)


def _seeds(
    atoms: Atoms, labels: Labels, near: _Near, noise_m: float, reach_m: float, agree: float
) -> npt.NDArray[np.int64]:
    """Atoms to start from, flattest first."""
    free = np.flatnonzero((labels == NONE) & (near.rms_m < SEED_NOISE * noise_m))
    if atoms.dense:
        free = free[::DENSE_SEED_STRIDE]
    if not len(free):
        return free
    found = atoms.neighbours[free]
    known = np.append(labels == NONE, False)[found]
    found = np.where(known, found, 0)
    mean = near.moments[free, 1:4] / near.moments[free, :1]
    normal = near.normal[free]
    offset = np.einsum("mkj,mj->mk", atoms.centre[found] - mean[:, None, :], normal)
    turn = np.abs(np.einsum("mkj,mj->mk", near.normal[found], normal))
    on = known & (np.abs(offset) < reach_m) & ((turn > agree) | (turn == 0.0))
    good = on.sum(axis=1) >= np.maximum(SEED_SUPPORT * known.sum(axis=1), 2)
    free = free[good]
    ranked: npt.NDArray[np.int64] = free[np.argsort(near.rms_m[free], kind="stable")]
    return ranked


def _region(
    atoms: Atoms,
    near: _Near,
    seed: int,
    taken: npt.NDArray[np.bool_],
    last: npt.NDArray[np.int64],
    reach_m: float,
    agree: float,
) -> npt.NDArray[np.int64]:
    """The connected atoms on one plane that starts at a seed; marks them as taken.  `last` is scratch."""
    sums = near.moments[seed]
    centroid, normal = sums[1:4] / sums[0], near.normal[seed]
    taken[seed] = True
    members = [np.array([seed])]
    refit_at = sums[0]
    sums = atoms.moments[seed].copy()
    ring = members[0]
    while len(ring):
        candidates = atoms.neighbours[ring].ravel()
        candidates = candidates[~taken[candidates]]
        if not len(candidates):
            break
        place = np.arange(len(candidates))
        last[candidates] = place
        candidates = candidates[last[candidates] == place]  # each one once
        turn = np.abs(near.normal[candidates] @ normal)
        on = np.abs((atoms.centre[candidates] - centroid) @ normal) < reach_m
        ring = candidates[on & ((turn > agree) | (turn == 0.0))]
        taken[ring] = True
        members.append(ring)
        sums += atoms.moments[ring].sum(axis=0)
        if sums[0] >= refit_at and sums[0] >= 4:
            centroid, normal = plane_of(sums)
            refit_at = REFIT_GROWTH * sums[0]
    return np.concatenate(members)
