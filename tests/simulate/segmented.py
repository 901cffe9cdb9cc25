"""The segmentation that a perfect search for planes would hand on: true labels, true planes.  Metres."""

from __future__ import annotations

import numpy as np

from slopewright.scene import PlaneSegment, RoofPoints, Segmentation

from .sim_cloud import SimCloud
from .truth import TrueRoof

SLOPE_SD, HEIGHT_SD_M = 5e-4, 2e-3  # stated for each plane


def true_segmentation(points: RoofPoints, sim: SimCloud, roof: TrueRoof, *, spacing_m: float) -> Segmentation:
    """Each point labelled with its true surface; coplanar faces are one plane."""
    surface = np.array([*(plane.surface for plane in roof.planes), -1])
    face = sim.label[points.indices]
    of_surface = surface[np.where(face >= 0, face, len(roof.planes))]
    planes, labels = [], np.full(len(of_surface), -1, dtype=np.int32)
    for k in range(len(roof.planes)):
        mine = of_surface == surface[k]
        if not mine.any() or (labels[mine] >= 0).all():
            continue
        labels[mine] = len(planes)
        own = points.xyz[mine]
        centre = own[:, :2].mean(axis=0)
        true = roof.planes[k]
        planes.append(
            PlaneSegment(
                centroid=np.append(centre, true.height(centre[None])[0]),
                normal=true.normal.copy(),
                covariance=np.diag([SLOPE_SD**2, SLOPE_SD**2, HEIGHT_SD_M**2]),
                n_points=int(mine.sum()),
                rms_m=float(np.sqrt(np.mean((own @ true.normal - true.offset) ** 2))),
                area_m2=sum(p.area_m2 for p in roof.planes if p.surface == true.surface),
            )
        )
    return Segmentation(
        planes=tuple(planes), labels=labels, noise_m=0.001, spacing_m=spacing_m, correlation_m=0.0
    )
