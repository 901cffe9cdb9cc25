"""The stage's way through: atoms, noise, growing, refinement, cleaning, precision.  Metres."""

from __future__ import annotations

import numpy as np

from ..errors import NoRoofError
from ..geometry.planefit import fit_plane_weighted
from ..scene import PlaneSegment, RoofPoints, Segmentation
from .atoms import make_atoms
from .clean import drop_foliage, roof_like
from .config import PlanesConfig
from .grow import grow
from .model import NONE, planes_of
from .noise import first_noise
from .precision import correlation, plane_covariance
from .refine import refine

DEFAULT = PlanesConfig()


def run(points: RoofPoints, config: PlanesConfig = DEFAULT) -> Segmentation:
    """Find the planes of a roof."""
    atoms = make_atoms(points.xyz, config)
    noise_m = first_noise(atoms, config)
    labels = grow(atoms, np.full(len(atoms), NONE, dtype=np.int32), noise_m, config)
    labels, noise_m = refine(atoms, labels, noise_m, config)
    labels = drop_foliage(atoms, labels, noise_m, config)
    labels = roof_like(atoms, labels, config)
    planes = planes_of(atoms, labels)
    if not len(planes) or planes.area_m2.max() < config.roof_area_m2:
        raise NoRoofError(
            f"{points.id}: no plane of {config.roof_area_m2:g} m² among {len(points.xyz)} points,"
            " need a cloud that shows a roof: check the unit, or point at the building with --at X Y"
        )
    correlated = correlation(atoms, labels, planes)
    segments = []
    for k in range(len(planes)):
        centroid, normal, rms = fit_plane_weighted(planes.moments[k], 1.0)
        segments.append(
            PlaneSegment(
                centroid=centroid + atoms.origin,
                normal=normal,
                covariance=plane_covariance(atoms, labels, planes, k, correlated),
                n_points=int(planes.moments[k, 0]),
                rms_m=rms,
                area_m2=float(planes.area_m2[k]),
            )
        )
    return Segmentation(
        planes=tuple(segments),
        labels=labels[atoms.atom_of_point],
        noise_m=noise_m,
        spacing_m=atoms.spacing_m,
        correlation_m=correlated.length_m,
    )
