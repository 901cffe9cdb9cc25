"""Labels of points from labels of atoms: what lies between planes goes to the nearest one.  Metres."""

from __future__ import annotations

import numpy as np

from ..geometry.moments import Array
from .atoms import Atoms
from .model import NONE, Labels, PlaneSet

OPTIONS = 8  # nearest neighbours whose planes a point may take
CREASE_M = 0.12  # matching rounds creases of dense clouds by this much
CREASE_NOISE = 4.5  # reach of a plane, in standard deviations of its own points


def point_labels(atoms: Atoms, labels: Labels, planes: PlaneSet, noise_m: float, xyz: Array) -> Labels:
    """Label points: each as its atom, but at borders by distance.

    Parameters
    ----------
    atoms : Atoms
    labels : int32 array, shape (m,)
        Of the atoms, walls included: what is nearest to a wall is no roof.
    planes : PlaneSet
        Fitted to these labels.
    noise_m : float
        Standard deviation of the points across a plane [m].
    xyz : array, shape (n, 3)
        The points [m].

    Returns
    -------
    int32 array, shape (n,)

    Notes
    -----
    Cubes that a crease runs through are divided.  Points of no plane beside one take it if they are within
    its noise, or within the rounding of creases; planes are not refitted to them.
    """
    result = labels[atoms.atom_of_point]
    if not len(planes):
        return result
    beside = np.append(labels, np.int32(NONE))[atoms.neighbours[:, :OPTIONS]]
    border = ((beside != labels[:, None]) & (beside >= 0)).any(axis=1)
    if not atoms.dense:
        border &= labels == NONE  # a single point has been weighed already
    rows = np.flatnonzero(border[atoms.atom_of_point])
    options = np.concatenate([labels[:, None], beside], axis=1)[atoms.atom_of_point[rows]]
    pick = np.maximum(options, 0)
    centre = planes.centroid + atoms.origin
    distance = np.abs(np.einsum("pkj,pkj->pk", xyz[rows][:, None, :] - centre[pick], planes.normal[pick]))
    distance[options < 0] = np.inf
    best = distance.argmin(axis=1)
    chosen = options[np.arange(len(rows)), best]
    reach = CREASE_NOISE * np.maximum(np.sqrt(planes.variance_m2), noise_m)
    if atoms.dense:
        reach = np.maximum(reach, CREASE_M)
    near = distance[np.arange(len(rows)), best] < reach[np.maximum(chosen, 0)]
    result[rows] = np.where(near | (options[:, 0] >= 0), chosen, NONE)
    return result
