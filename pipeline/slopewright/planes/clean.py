"""What is no roof: tree crowns, shrubs and walls; and the atoms between planes.  Metres."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.spatial import ConvexHull, QhullError

from ..geometry.moments import Array
from .atoms import Atoms
from .config import PlanesConfig
from .model import NONE, Labels, PlaneSet, compact, planes_of
from .refine import contacts

DENSE_CONTACTS = 2.5  # foreign contacts per atom of a dense cloud that only foliage reaches
ROUGH_AREA_M2 = 4.0
ROUGH_NOISE = 1.5  # a small plane that scatters more than the roughest large one, times this, is none
SHRUB_AREA_M2 = 3.0
STRANGERS = 0.4  # points of others within a plane's outline over its own: faces have 0.3, leaves 0 to 2.5
MIN_HULL_ATOMS = 4
MIN_WIDTH_M = 0.1  # standard deviation across; a strip of 0.35 m: less is a gutter, a ridge cap or a wire


def drop_foliage(atoms: Atoms, labels: Labels, noise_m: float, config: PlanesConfig) -> Labels:
    """Take away small planes that are mostly surrounded by what no plane explains."""
    planes = planes_of(atoms, labels)
    k = len(planes)
    if not k:
        return labels
    counts = contacts(atoms, labels, k)
    foreign = counts.sum(axis=1)
    per_atom = foreign / planes.n_atoms
    if not atoms.dense:  # thresholds are for eight neighbours
        per_atom = per_atom * 8.0 / atoms.neighbours.shape[1]
    loose = counts[:, k] / np.maximum(foreign, 1)
    small = planes.area_m2 < config.tree_area_m2
    scatter = np.sqrt(planes.variance_m2)
    usual = max(
        float(scatter[~small].max(initial=0.0)), noise_m
    )  # strips that do not fit make some faces rough
    tree = small & (loose * per_atom * np.maximum(scatter / usual, 1.0) > config.tree_contacts)
    tree |= (planes.area_m2 < ROUGH_AREA_M2) & (scatter > ROUGH_NOISE * usual)
    if not atoms.dense:
        rise = np.append(planes.normal[:, 2], 0.0)[labels]
        rise = np.where(labels == NONE, np.abs(atoms.normal[:, 2]), rise)
        other = rise > np.cos(config.wall_slope_rad)
        for j in np.flatnonzero(small & ~tree & (planes.n_atoms >= MIN_HULL_ATOMS)):
            tree[j] = _strangers(atoms.centre[:, :2], labels == j, other) > STRANGERS
    if atoms.dense:
        tree |= small & (per_atom > DENSE_CONTACTS)
        tree |= (planes.area_m2 < SHRUB_AREA_M2) & (counts[:, :k].sum(axis=1) == 0)
    drop = np.append(tree, False)
    return compact(np.where(drop[labels], NONE, labels).astype(np.int32))


def _strangers(plan: Array, own: npt.NDArray[np.bool_], other: npt.NDArray[np.bool_]) -> float:
    """Atoms of others within a plane's outline in plan, walls left out, over its own.

    Seen from above a face hides what is under it; leaves do not.
    """
    members = plan[own]
    low, high = members.min(axis=0), members.max(axis=0)
    strangers = plan[other & ~own & (plan >= low).all(axis=1) & (plan <= high).all(axis=1)]
    try:
        sides = ConvexHull(members).equations
    except QhullError:  # on a line in plan: an edge-on wall
        return 0.0
    inside = (strangers @ sides[:, :2].T + sides[:, 2] < 0.0).all(axis=1)
    return float(inside.sum() / len(members))


def roof_like(planes: PlaneSet, config: PlanesConfig) -> npt.NDArray[np.int64]:
    """Planes that are no walls and large enough to report, largest first."""
    keep = (planes.normal[:, 2] > np.cos(config.wall_slope_rad)) & (planes.area_m2 >= config.min_area_m2)
    keep &= planes.width_m > MIN_WIDTH_M
    rows = np.flatnonzero(keep)
    return rows[np.argsort(-planes.area_m2[rows], kind="stable")]
