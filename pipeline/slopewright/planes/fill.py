"""Labels of points from labels of atoms: what lies between planes goes to the nearest one.  Metres."""

from __future__ import annotations

import numpy as np

from ..geometry.moments import Array
from .atoms import Atoms
from .model import NONE, Labels, PlaneSet

OPTIONS = 8  # nearest neighbours whose planes a point may take
CREASE_M = 0.12  # matching rounds creases of dense clouds by this much
MIN_UPRIGHT = 0.17  # walls, steeper than 80 degrees: a point's plan position says nothing
CREASE_NOISE = 4.5  # reach of a plane, in standard deviations of its own points


def point_labels(atoms: Atoms, labels: Labels, planes: PlaneSet, noise_m: float, xyz: Array) -> Labels:
    """Label points: each as its atom, but at borders by itself.

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
    A point near two planes that meet is told by its side of the crease in plan: the lower plane's at a ridge
    or hip, the higher one's in a valley; its distance would tell no more than its noise.  Points of no plane
    beside one take it if they are within its noise or the rounding of creases; planes are not refitted.
    """
    result = labels[atoms.atom_of_point]
    if not len(planes):
        return result
    beside = np.append(labels, np.int32(NONE))[atoms.neighbours[:, :OPTIONS]]
    border = ((beside != labels[:, None]) & (beside >= 0)).any(axis=1)
    rows = np.flatnonzero(border[atoms.atom_of_point])
    options = np.concatenate([labels[:, None], beside], axis=1)[atoms.atom_of_point[rows]]
    points = xyz[rows] - atoms.origin
    pick = np.maximum(options, 0)
    distance = np.einsum("pkj,pkj->pk", points[:, None, :] - planes.centroid[pick], planes.normal[pick])
    distance = np.where(options >= 0, np.abs(distance), np.inf)
    each = np.arange(len(rows))
    best = distance.argmin(axis=1)
    first, off = options[each, best], distance[each, best]
    distance[options == first[:, None]] = np.inf
    best = distance.argmin(axis=1)
    second, off_second = options[each, best], distance[each, best]

    reach = CREASE_NOISE * np.maximum(np.sqrt(planes.variance_m2), noise_m)
    if atoms.dense:
        reach = np.maximum(reach, CREASE_M)
    own = options[:, 0]
    chosen = np.where(own >= 0, own, np.where(off < reach[np.maximum(first, 0)], first, NONE))
    meet = (second >= 0) & (off < reach[first]) & (off_second < reach[np.maximum(second, 0)])
    a, b = first[meet], second[meet]
    side = _side(planes, a, b, points[meet])
    chosen[meet] = np.where(side > 0, a, np.where(side < 0, b, chosen[meet]))
    result[rows] = chosen
    return result


def _side(planes: PlaneSet, a: Labels, b: Labels, points: Array) -> Array:
    """Positive where a point in plan is on the first plane's side of the crease; 0 where there is none."""
    ab = planes.centroid[b] - planes.centroid[a]
    b_over_a = np.einsum("ij,ij->i", ab, planes.normal[a])
    a_over_b = -np.einsum("ij,ij->i", ab, planes.normal[b])
    bent = np.where(
        (b_over_a < 0) & (a_over_b < 0), 1.0, np.where((b_over_a > 0) & (a_over_b > 0), -1.0, 0.0)
    )
    upright = np.minimum(planes.normal[a, 2], planes.normal[b, 2])
    bent[upright < MIN_UPRIGHT] = 0.0
    side: Array = bent * (_height(planes, b, points) - _height(planes, a, points))
    return side


def _height(planes: PlaneSet, rows: Labels, points: Array) -> Array:
    """Height of a plane over each point [m]."""
    normal, centroid = planes.normal[rows], planes.centroid[rows]
    apart = points[:, :2] - centroid[:, :2]
    height: Array = centroid[:, 2] - (apart * normal[:, :2]).sum(axis=1) / np.maximum(
        normal[:, 2], MIN_UPRIGHT
    )
    return height
