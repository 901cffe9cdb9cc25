"""Planes during the search: labels of atoms, and the plane that each label's moments give.  Metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..geometry.moments import Array, mean_and_covariance, sum_by_label
from ..geometry.planefit import fit_planes
from .atoms import Atoms

Labels = npt.NDArray[np.int32]
NONE = -1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaneSet:
    """All planes at one moment of the search."""

    moments: Array  # (k, 10)
    centroid: Array  # (k, 3) [m]
    normal: Array  # (k, 3)
    variance_m2: Array  # (k,) mean square residual
    width_m: Array  # (k,) standard deviation of the points along the shorter axis in the plane
    area_m2: Array  # (k,)
    n_atoms: npt.NDArray[np.int64]  # (k,)

    def __len__(self) -> int:
        return len(self.moments)

    def take(self, rows: npt.NDArray[np.int64]) -> PlaneSet:
        """Some of the planes, in the order given."""
        return PlaneSet(
            moments=self.moments[rows],
            centroid=self.centroid[rows],
            normal=self.normal[rows],
            variance_m2=self.variance_m2[rows],
            width_m=self.width_m[rows],
            area_m2=self.area_m2[rows],
            n_atoms=self.n_atoms[rows],
        )


def compact(labels: Labels) -> Labels:
    """Number the labels that occur from zero, in their order; `NONE` stays."""
    used = np.unique(labels[labels >= 0])
    table = np.full(int(labels.max(initial=-1)) + 2, NONE, dtype=np.int32)
    table[used] = np.arange(len(used), dtype=np.int32)
    return np.where(labels >= 0, table[labels], np.int32(NONE)).astype(np.int32)


def renumber(labels: Labels, kept: npt.NDArray[np.int64]) -> Labels:
    """Labels after some planes were taken: the place of each in `kept`, `NONE` for the others."""
    table = np.full(max(int(labels.max(initial=-1)), int(kept.max(initial=-1))) + 2, NONE, dtype=np.int32)
    table[kept] = np.arange(len(kept), dtype=np.int32)
    return table[labels]  # the last place is that of label -1


def planes_of(atoms: Atoms, labels: Labels) -> PlaneSet:
    """Fit a plane to every label; labels must be compact."""
    k = int(labels.max(initial=-1)) + 1
    moments = sum_by_label(atoms.moments, labels, k) if k else np.empty((0, 10))
    chosen = labels >= 0
    area = np.bincount(labels[chosen], weights=atoms.area_m2[chosen], minlength=k).astype(np.float64)
    n_atoms = np.bincount(labels[chosen], minlength=k)
    centroid, normal, spread = fit_planes(moments)
    return PlaneSet(
        moments=moments,
        centroid=centroid,
        normal=normal,
        variance_m2=spread[:, 0],
        width_m=np.sqrt(np.maximum(spread[:, 1], 0.0)),
        area_m2=area,
        n_atoms=n_atoms,
    )


def plane_of(sums: Array) -> tuple[Array, Array]:
    """Centroid and normal of one row of moments."""
    mean, covariance = mean_and_covariance(sums[None, :])
    return mean[0], np.linalg.eigh(covariance[0])[1][:, 0]
