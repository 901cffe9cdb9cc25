"""Strips along creases that look like faces: beams that met two faces lie between them.  Metres."""

from __future__ import annotations

import numpy as np

from .atoms import Atoms
from .model import Labels, compact, planes_of
from .refine import contacts

STRIP_AREA_M2 = 4.0  # a ridge of 10 m and what 40 cm of beam spoil of it
STRIP_EXTRA = 2.0  # noise variances that the neighbours of a strip may leave more than itself


def dissolve_creases(atoms: Atoms, labels: Labels, noise_m: float) -> Labels:
    """Give small planes back to their neighbours where these explain their points nearly as well.

    Parameters
    ----------
    atoms : Atoms
    labels : int32 array, shape (m,)
        Compact.
    noise_m : float
        Standard deviation of the points across a plane [m].

    Returns
    -------
    int32 array, shape (m,)
        Each point of such a plane goes to the nearest of the larger planes that it touches.
    """
    planes = planes_of(atoms, labels)
    k = len(planes)
    touch = contacts(atoms, labels, k)[:, :k] > 0
    touch |= touch.T
    result = labels.copy()
    for j in np.flatnonzero(planes.area_m2 < STRIP_AREA_M2):
        beside = np.flatnonzero(touch[j] & (planes.area_m2 > planes.area_m2[j]))
        if not len(beside):
            continue
        rows = np.flatnonzero(labels == j)
        apart = atoms.centre[rows][:, None, :] - planes.centroid[beside]
        square = np.einsum("mkj,kj->mk", apart, planes.normal[beside]) ** 2
        weight = atoms.count[rows]
        scatter = float(weight @ square.min(axis=1) / weight.sum())
        if scatter < planes.variance_m2[j] + STRIP_EXTRA * noise_m**2:
            result[rows] = beside[square.argmin(axis=1)]
    return compact(result)
