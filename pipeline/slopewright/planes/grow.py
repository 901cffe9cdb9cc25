"""Region growing over atoms, a whole ring at a time.  Metres."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .atoms import Atoms
from .config import PlanesConfig
from .model import NONE, Labels, plane_of

REFIT_GROWTH = 1.4  # a region is refitted when it has grown by this factor
SEED_NOISE = 2.0  # a seed's neighbourhood scatters less than this many standard deviations
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
    """
    reach_m = noise_m * (config.grow_sigma_dense if atoms.dense else config.grow_sigma_sparse)
    agree = float(np.cos(config.normal_angle_rad))
    m = len(atoms)
    state = np.append(labels, np.int32(m))  # the padding row is never free
    tried = np.zeros(m, dtype=bool)
    next_label = int(labels.max(initial=-1)) + 1
    for seed in _seeds(atoms, labels, noise_m, reach_m, agree):
        if state[seed] != NONE or tried[seed]:
            continue
        members = _region(atoms, int(seed), state, reach_m, agree)
        if atoms.area_m2[members].sum() >= config.seed_area_m2:
            state[members] = next_label
            next_label += 1
        else:
            tried[members] = True
    return state[:m].astype(np.int32)


def _seeds(
    atoms: Atoms, labels: Labels, noise_m: float, reach_m: float, agree: float
) -> npt.NDArray[np.int64]:
    """Atoms to start from, flattest first."""
    free = np.flatnonzero((labels == NONE) & (atoms.local_rms_m < SEED_NOISE * noise_m))
    if not len(free):
        return free
    found = atoms.neighbours[free]
    known = found < len(atoms)
    found = np.where(known, found, 0)
    mean = atoms.local[free, 1:4] / atoms.local[free, :1]
    normal = atoms.normal[free]
    offset = np.einsum("mkj,mj->mk", atoms.centre[found] - mean[:, None, :], normal)
    turn = np.einsum("mkj,mj->mk", atoms.normal[found], normal)
    on = known & (np.abs(offset) < reach_m) & (np.abs(turn) > agree)
    good = on.sum(axis=1) >= np.maximum(SEED_SUPPORT * known.sum(axis=1), 2)
    free = free[good]
    return free[np.argsort(atoms.local_rms_m[free], kind="stable")]


def _region(atoms: Atoms, seed: int, state: Labels, reach_m: float, agree: float) -> npt.NDArray[np.int64]:
    """The connected atoms on one plane that starts at a seed."""
    sums = atoms.local[seed]
    centroid, normal = sums[1:4] / sums[0], atoms.normal[seed]
    taken = state != NONE
    taken[seed] = True
    members = [np.array([seed])]
    sums = atoms.moments[seed].copy()
    refit_at = max(atoms.local[seed, 0], REFIT_GROWTH * sums[0])
    ring = members[0]
    while len(ring):
        candidates = atoms.neighbours[ring].ravel()
        candidates = candidates[~taken[candidates]]
        if not len(candidates):
            break
        candidates = np.unique(candidates)
        near = np.abs((atoms.centre[candidates] - centroid) @ normal) < reach_m
        near &= np.abs(atoms.normal[candidates] @ normal) > agree
        ring = candidates[near]
        taken[ring] = True
        members.append(ring)
        sums += atoms.moments[ring].sum(axis=0)
        if sums[0] >= refit_at and sums[0] >= 4:
            centroid, normal = plane_of(sums)
            refit_at = REFIT_GROWTH * sums[0]
    return np.concatenate(members)
