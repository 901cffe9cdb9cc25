"""The stage's way through: atoms, noise, growing, refinement, cleaning, precision.  Metres."""

from __future__ import annotations

import numpy as np

from ..geometry.planefit import fit_plane_weighted
from ..scene import PlaneSegment, RoofPoints, Segmentation
from .atoms import Atoms, make_atoms
from .cells import covered_area
from .checks import curvature, demand_roof, layers
from .clean import drop_foliage, roof_like
from .config import PlanesConfig
from .creases import dissolve_creases
from .fill import point_labels
from .grow import grow
from .model import NONE, Labels, PlaneSet, planes_of, renumber
from .noise import first_noise
from .precision import Correlation, correlation, plane_covariance
from .refine import refine
from .strips import joined_strips

DEFAULT = PlanesConfig()
# A laser's point is known less well in plan than in height: beam and attitude.  On small faces such a fit
# takes noise for slope: they are fitted as if both were alike.
PLAN_TO_HEIGHT_SPARSE = 1.4
PLAN_TO_HEIGHT = 1.0
LARGE_AREA_M2 = 6.0


def run(points: RoofPoints, config: PlanesConfig = DEFAULT) -> Segmentation:
    """Find the planes of a roof.

    Parameters
    ----------
    points : RoofPoints
        Points of a roof and of what is on and over it: chimneys, pipes, trees, the upper part of walls.
    config : PlanesConfig, optional

    Returns
    -------
    Segmentation
        Planes up to `config.wall_slope_rad` steep, largest first, with the covariance of their slopes and
        height under noise that is correlated in space; the label of each point, -1 for walls and all that
        is no plane.  Strips are set upon each other where their points tell how; what all of them share, a
        shift or a lean, is not in the covariance.

    Raises
    ------
    InputError
        If there are too few points or a coordinate is not finite.
    NoRoofError
        If no plane is large enough, planes explain too little, or all of the surface is curved.

    Notes
    -----
    The result is the same for any order of the points.
    """
    xyz = points.xyz if points.strip is None else joined_strips(points.xyz, points.strip)
    atoms = make_atoms(xyz, config)
    noise_m = first_noise(atoms, config)
    labels = grow(atoms, np.full(len(atoms), NONE, dtype=np.int32), noise_m, config)
    labels, noise_m = refine(atoms, labels, noise_m, config)
    labels = dissolve_creases(atoms, labels, noise_m)
    labels = drop_foliage(atoms, labels, noise_m, config)

    every = planes_of(atoms, labels)  # walls too
    roof = roof_like(every, config)
    planes = every.take(roof)
    demand_roof(points.id, atoms, labels, planes, noise_m, config)
    of_points = renumber(point_labels(atoms, labels, every, noise_m, xyz), roof)
    labels = renumber(labels, roof)
    notices = curvature(points.id, atoms, labels, planes)
    notices += layers(atoms, of_points, planes, xyz)
    noise = correlation(atoms, labels, planes)
    return Segmentation(
        planes=tuple(_segment(atoms, labels, planes, k, noise) for k in range(len(planes))),
        labels=of_points,
        noise_m=noise_m,
        spacing_m=atoms.spacing_m,
        correlation_m=noise.length_m,
        notices=notices,
    )


def _segment(atoms: Atoms, labels: Labels, planes: PlaneSet, k: int, noise: Correlation) -> PlaneSegment:
    """A plane as the next stages take it."""
    lidar = not atoms.dense and planes.area_m2[k] >= LARGE_AREA_M2
    ratio = PLAN_TO_HEIGHT_SPARSE if lidar else PLAN_TO_HEIGHT
    centroid, normal, rms_m = fit_plane_weighted(planes.moments[k], ratio)
    return PlaneSegment(
        centroid=centroid + atoms.origin,
        normal=normal,
        covariance=plane_covariance(atoms, labels, planes, k, noise),
        n_points=int(planes.moments[k, 0]),
        rms_m=rms_m,
        area_m2=covered_area(atoms, np.flatnonzero(labels == k), planes, k),
    )
