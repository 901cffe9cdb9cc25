"""Rounds of: every atom to the plane that suits it and its neighbours, parts, merges, refit.  Metres."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from ..geometry.moments import Array
from ..geometry.planefit import fit_planes
from .atoms import Atoms
from .config import PlanesConfig
from .grow import grow
from .model import NONE, Labels, PlaneSet, compact, planes_of
from .split import split_bent

ICM_NEIGHBOURS = 8
SWEEPS = 4
PART_AREA_M2 = 0.5
NOISE_AREA_M2 = 8.0  # planes of this size show the noise
NOISE_RANGE = 2.0  # the noise may rise to this multiple of the first guess
# A plane's own noise over the usual one: texture and light of a matched face differ; a scanner's noise does
# not, and what scatters more there has caught beams that met two surfaces.
PLANE_RANGE_DENSE = 2.0
PLANE_RANGE_SPARSE = 1.2
REGROW_ROUND = 1  # after this round the unexplained atoms may form planes
STILL = 0.003  # share of atoms that change in a round that ends the search
LAYER_CONTACTS = 3  # neighbours of another plane that show that it runs through this one
LAYER_SHARE = 0.5  # of the smaller plane's atoms
LAYER_GAP_M = 0.2  # strips and copies lie no farther apart
LAYER_TURN_RAD = np.radians(18.0)
MERGED_RMS_SPARSE = 1.6
MERGED_RMS_DENSE = 2.2


def refine(atoms: Atoms, labels: Labels, noise_m: float, config: PlanesConfig) -> tuple[Labels, float]:
    """Turn grown regions into planes.

    Parameters
    ----------
    atoms : Atoms
    labels : int32 array, shape (m,)
    noise_m : float
        First guess of the noise [m].
    config : PlanesConfig

    Returns
    -------
    labels : int32 array, shape (m,)
        Compact.
    noise_m : float
        The median rms of the large planes.
    """
    first = noise_m
    labels = join_layers(atoms, compact(labels), noise_m)
    labels = merge(atoms, labels, noise_m, config)
    for turn in range(config.rounds):
        before = labels
        planes = planes_of(atoms, labels)
        noise_m = _usual_noise(planes, first, noise_m)
        labels = assign(atoms, labels, planes, noise_m, config)
        labels = split_parts(atoms, labels)
        labels = join_layers(atoms, labels, noise_m)
        labels = merge(atoms, labels, noise_m, config)
        if turn == REGROW_ROUND:
            labels = split_bent(atoms, labels, noise_m, config)
            labels = join_layers(atoms, compact(grow(atoms, labels, noise_m, config)), noise_m)
            labels = merge(atoms, labels, noise_m, config)
        elif np.mean(_matched(before, labels) != labels) < STILL and turn > REGROW_ROUND:
            break
    return labels, noise_m


def assign(atoms: Atoms, labels: Labels, planes: PlaneSet, noise_m: float, config: PlanesConfig) -> Labels:
    """Iterated conditional modes over the atoms whose neighbourhood is not of one mind.

    Half of the atoms move at a time, so that neighbours do not swap for ever.
    """
    m = len(atoms)
    if not len(planes):
        return labels
    beside = atoms.neighbours[:, :ICM_NEIGHBOURS]
    weight = config.potts * 8.0 / beside.shape[1]
    state = np.append(labels, np.int32(-2))  # padding agrees with nobody
    parity = (np.arange(m) * 2654435761 >> 16) & 1
    stale = np.ones(m, dtype=bool)
    for _ in range(SWEEPS):
        changed = np.zeros(m, dtype=bool)
        for half in (0, 1):
            turn = np.flatnonzero(stale & (parity == half))
            around = state[beside[turn]]
            mixed = ((around != state[turn][:, None]) & (around != -2)).any(axis=1)
            turn, around = turn[mixed], around[mixed]
            if not len(turn):
                continue
            options = np.concatenate(
                [state[turn][:, None], np.full((len(turn), 1), NONE, dtype=np.int32), around], axis=1
            )
            energy = _data_energy(atoms, turn, options, planes, noise_m, config)
            alike = (options[:, :, None] == around[:, None, :]).sum(axis=2)
            energy -= weight * alike
            energy[options == -2] = np.inf
            best = options[np.arange(len(turn)), energy.argmin(axis=1)]
            moved = best != state[turn]
            state[turn[moved]] = best[moved]
            changed[turn[moved]] = True
        if not changed.any():
            break
        stale = changed.copy()
        touched = beside[changed].ravel()
        stale[touched[touched < m]] = True
    return state[:m].astype(np.int32)


def _data_energy(
    atoms: Atoms,
    rows: npt.NDArray[np.int64],
    options: Labels,
    planes: PlaneSet,
    noise_m: float,
    config: PlanesConfig,
) -> Array:
    """Energy of each option: distance and normal, or the price of none; shape of `options`."""
    pick = np.maximum(options, 0)
    normal = planes.normal[pick]
    distance = np.einsum("mkj,mkj->mk", atoms.centre[rows][:, None, :] - planes.centroid[pick], normal)
    turn = np.abs(np.einsum("mj,mkj->mk", atoms.normal[rows], normal))
    sigma = np.clip(
        np.sqrt(planes.variance_m2),
        noise_m,
        (PLANE_RANGE_DENSE if atoms.dense else PLANE_RANGE_SPARSE) * noise_m,
    )
    energy = 0.5 * (distance / sigma[pick]) ** 2
    energy += config.normal_weight * np.minimum((1.0 - turn) / (1.0 - np.cos(config.normal_angle_rad)), 2.0)
    return np.where(options >= 0, energy, config.none_price)


def split_parts(atoms: Atoms, labels: Labels) -> Labels:
    """Make every connected part of a label a plane of its own, and drop parts too small to be one."""
    m = len(atoms)
    padded = np.append(labels, np.int32(-2))
    same = (padded[atoms.neighbours] == labels[:, None]) & (labels[:, None] >= 0)
    if atoms.dense:
        same &= atoms.neighbours > np.arange(m)[:, None]  # each pair once
    start = np.concatenate([[0], np.cumsum(same.sum(axis=1))])
    columns = atoms.neighbours[same]
    links = csr_matrix((np.ones(len(columns), dtype=np.int8), columns, start), shape=(m, m))
    n_parts, part = connected_components(links, directed=False)
    area = np.bincount(part, weights=atoms.area_m2, minlength=n_parts)
    keep = (labels >= 0) & (area[part] >= PART_AREA_M2)
    return compact(np.where(keep, part, NONE).astype(np.int32))


def join_layers(atoms: Atoms, labels: Labels, noise_m: float) -> Labels:
    """Join parallel planes that lie through each other: one surface, seen twice with an offset.

    Strips of a flight, or copies of a surface that were not registered well, lie a few centimetres apart,
    point between point.  The mean of both is the best there is.
    """
    while True:
        planes = planes_of(atoms, labels)
        k = len(planes)
        share = _woven(atoms, labels, k)
        a, b = np.nonzero((share > LAYER_SHARE) & (planes.area_m2[:, None] <= planes.area_m2[None, :]))
        if len(a):
            turn = np.abs(np.einsum("ij,ij->i", planes.normal[a], planes.normal[b]))
            joint = fit_planes(planes.moments[a] + planes.moments[b])[2][:, 0]
            good = (turn > np.cos(LAYER_TURN_RAD)) & (joint < noise_m**2 + LAYER_GAP_M**2 / 4.0)
            a, b = a[good], b[good]
        if not len(a):
            return labels
        table = np.arange(k + 1)
        used = np.zeros(k, dtype=bool)
        for best in np.argsort(-share[a, b], kind="stable"):  # each plane at most once a turn
            i, j = a[best], b[best]
            if not (used[i] or used[j]):
                table[i] = j
                used[i] = used[j] = True
        labels = compact(np.where(labels >= 0, table[labels], NONE).astype(np.int32))


def _woven(atoms: Atoms, labels: Labels, k: int) -> Array:
    """Share of each plane's atoms that have several neighbours of another plane, shape (k, k)."""
    table = np.append(labels, np.int32(NONE))[atoms.neighbours]
    row, column = np.nonzero((table >= 0) & (labels[:, None] >= 0) & (table != labels[:, None]))
    pair, count = np.unique(row.astype(np.int64) * k + table[row, column], return_counts=True)
    pair = pair[count >= LAYER_CONTACTS]
    own = labels[pair // max(k, 1)].astype(np.int64)
    woven = np.bincount(own * k + pair % max(k, 1), minlength=k * k).reshape(k, k)
    members = np.bincount(labels[labels >= 0], minlength=k)
    return woven / np.maximum(members, 1)[:, None]


def merge(atoms: Atoms, labels: Labels, noise_m: float, config: PlanesConfig) -> Labels:
    """Join touching planes while the smaller one's extra variance is less than the price of a plane."""
    rho = config.merge_rho_dense if atoms.dense else config.merge_rho_sparse
    cap = (MERGED_RMS_DENSE if atoms.dense else MERGED_RMS_SPARSE) * noise_m
    roughest = (PLANE_RANGE_DENSE if atoms.dense else PLANE_RANGE_SPARSE) * noise_m
    agree = np.cos(config.merge_angle_rad)
    planes = planes_of(atoms, labels)
    k = len(planes)
    if k < 2:
        return labels
    moments, variance, normal = planes.moments.copy(), planes.variance_m2.copy(), planes.normal.copy()
    touch = contacts(atoms, labels, k)[:, :k] > 0
    a, b = np.nonzero(np.triu(touch | touch.T, 1))

    def price(rows: npt.NDArray[np.int64]) -> Array:
        i, j = a[rows], b[rows]
        joint = moments[i] + moments[j]
        spread = fit_planes(joint)[2][:, 0]
        extra = joint[:, 0] * spread - moments[i, 0] * variance[i] - moments[j, 0] * variance[j]
        # two faces may be rougher than the usual one, up to what a plane's own noise may be
        own = (moments[i, 0] * variance[i] + moments[j, 0] * variance[j]) / joint[:, 0]
        extra /= np.minimum(moments[i, 0], moments[j, 0]) * np.clip(own, noise_m**2, roughest**2)
        apart = np.abs(np.einsum("ij,ij->i", normal[i], normal[j])) < agree
        return np.where(apart | (spread > cap**2), np.inf, extra)

    cost = price(np.arange(len(a)))
    table = np.arange(k)
    while len(cost) and cost.min() < rho:
        best = int(cost.argmin())
        i, j = int(a[best]), int(b[best])
        moments[i] += moments[j]
        _, joint_normal, spread = fit_planes(moments[i : i + 1])
        normal[i], variance[i] = joint_normal[0], spread[0, 0]
        table[table == j] = i
        a, b = np.where(a == j, i, a), np.where(b == j, i, b)
        a, b = np.minimum(a, b), np.maximum(a, b)
        pair, first = np.unique(a * k + b, return_index=True)
        first = first[pair // k != pair % k]
        a, b, cost = a[first], b[first], cost[first]
        changed = np.flatnonzero((a == i) | (b == i))
        cost[changed] = price(changed)
    return compact(np.where(labels >= 0, table[labels], NONE).astype(np.int32))


def contacts(atoms: Atoms, labels: Labels, k: int) -> npt.NDArray[np.int64]:
    """Pairs of an atom of one plane and a neighbour of another, shape (k, k + 1); last column: of none."""
    other = np.append(labels, np.int32(-2))[atoms.neighbours]
    own = np.broadcast_to(labels[:, None], other.shape)
    foreign = (own >= 0) & (other != own) & (other != -2)
    own, other = own[foreign], other[foreign]
    code = own.astype(np.int64) * (k + 1) + np.where(other >= 0, other, k)
    counts = np.bincount(code, minlength=k * (k + 1)).reshape(k, k + 1)
    return counts


def _usual_noise(planes: PlaneSet, first: float, noise_m: float) -> float:
    """Median rms of the large planes by their points, within the range about the first guess.

    A plane that runs over a crease, or has a step in it, scatters more than the noise: a mean would let it.
    """
    large = planes.area_m2 > NOISE_AREA_M2
    if not large.any():
        return noise_m
    rms = np.sqrt(planes.variance_m2[large])
    order = np.argsort(rms, kind="stable")
    n = np.cumsum(planes.moments[large, 0][order])
    return float(np.clip(rms[order][np.searchsorted(n, 0.5 * n[-1])], first, NOISE_RANGE * first))


def _matched(before: Labels, after: Labels) -> Labels:
    """Labels before a round, renamed to those after it by largest overlap."""
    k_before, k_after = int(before.max(initial=-1)) + 1, int(after.max(initial=-1)) + 1
    both = (before >= 0) & (after >= 0)
    if not both.any():
        return before
    overlap = np.bincount(
        before[both].astype(np.int64) * k_after + after[both], minlength=k_before * k_after
    ).reshape(k_before, k_after)
    return np.where(before >= 0, overlap.argmax(axis=1)[before], NONE).astype(np.int32)
