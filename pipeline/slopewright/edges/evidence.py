"""What the points say in plan: thinned, weighted, by plane.  Metres; z up."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from ..geometry.planlines import height_coefficients
from ..scene import Array, Labels, RoofPoints, Segmentation
from .visible import UNDER, seen_from_above

THIN_M = 0.14  # one point a cell of this size: 50 points/m² suffice for the labelling, at any density
DENSITY_QUANTILE = 0.7  # of neighbour counts: about that of points inside a face, not at its border
INSIDE_SHARE = 0.75  # of that count; points with fewer neighbours are taken to be at the border


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """Thinned points with labels and what each is worth in plan."""

    xyz: Array  # (n, 3) [m]
    labels: Labels  # (n,) plane, or -1 for what hides the roof (trees, chimneys, pipes)
    every_label: Labels  # of all points of the roof, before thinning
    weight: Array  # (n,) [m²] plan area that a point stands for
    ground: Array  # (g, 2) [m] where ground or low things were seen
    ground_weight: float  # [m²]
    coefficients: Array  # (k, 3) of z = a x + b y + c
    spacing_m: float  # between thinned points


def thin(points: Array, labels: Labels, cell_m: float) -> npt.NDArray[np.int64]:
    """Rows of one point a plan cell and label, independent of the order of the points.

    Parameters
    ----------
    points : array, shape (n, 3)
        [m]
    labels : array, shape (n,)
    cell_m : float
        Edge of a cell [m].

    Returns
    -------
    array, shape (m,)
        The point nearest the middle of its cell, for each cell and label.
    """
    scaled = points[:, :2] / cell_m
    cell = np.floor(scaled).astype(np.int64)
    from_middle = np.square(scaled - cell - 0.5).sum(axis=1)
    order = np.lexsort((points[:, 2], from_middle, labels, cell[:, 1], cell[:, 0]))
    key = np.column_stack([cell, labels])[order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = (key[1:] != key[:-1]).any(axis=1)
    return order[first]


def gather(points: RoofPoints, segmentation: Segmentation) -> Evidence:
    """Thin the points and weigh them by the density of their plane."""
    planes = segmentation.planes
    coefficients = height_coefficients(
        np.array([p.normal for p in planes]), np.array([p.centroid for p in planes])
    )
    every = seen_from_above(points.xyz, segmentation.labels, planes, coefficients, segmentation.spacing_m)
    seen = np.flatnonzero(every != UNDER)
    rows = seen[thin(points.xyz[seen], every[seen], THIN_M)]
    xyz, labels = points.xyz[rows], every[rows]
    spacing_m = max(segmentation.spacing_m, THIN_M)

    on_roof = labels >= 0
    radius = max(0.5, 2.5 * spacing_m)
    tree = cKDTree(xyz[on_roof, :2])
    counts = tree.query_ball_point(xyz[on_roof, :2], radius, return_length=True)
    local = counts / (np.pi * radius**2)
    density = np.empty(len(planes))
    for k in range(len(planes)):
        own = local[labels[on_roof] == k]
        density[k] = _inside_mean(own) if len(own) else 1 / spacing_m**2
    overall = _inside_mean(local)
    weight = np.full(len(xyz), 1 / overall)
    weight[on_roof] = 1 / density[labels[on_roof]]

    context = points.context
    if len(context):
        # A wall point under the roof says nothing about what is above it; ground seen from above does.
        # Walls stand in narrow columns: keep what is flat below, one point a cell.
        keep = thin(context, np.zeros(len(context), dtype=np.int32), max(spacing_m, 2 * THIN_M))
        context = context[keep]
        if points.ground_z_m is not None:
            context = context[context[:, 2] < points.ground_z_m + 0.5]
    cell = max(spacing_m, 2 * THIN_M)
    return Evidence(
        xyz=xyz,
        labels=labels,
        every_label=every,
        weight=weight,
        ground=context[:, :2],
        ground_weight=min(cell**2, 1 / overall if spacing_m > 2 * THIN_M else cell**2),
        coefficients=coefficients,
        spacing_m=spacing_m,
    )


def _inside_mean(density: Array) -> float:
    """Mean density at points that are not at a border."""
    high = float(np.quantile(density, DENSITY_QUANTILE))
    return float(density[density >= INSIDE_SHARE * high].mean())


def without(evidence: Evidence, planes: list[int]) -> Evidence:
    """The same evidence with the points of some planes counted as things that hide the roof."""
    return replace(
        evidence,
        labels=np.where(np.isin(evidence.labels, planes), -1, evidence.labels).astype(np.int32),
        every_label=np.where(np.isin(evidence.every_label, planes), -1, evidence.every_label).astype(
            np.int32
        ),
    )
