"""Is what was found a roof?  A dome, a lawn or a crown of leaves gives planes too.  Metres."""

from __future__ import annotations

import numpy as np

from ..errors import NoRoofError
from ..geometry.moments import Array
from ..scene import Notice
from .atoms import Atoms
from .cells import cell_side, face_cells
from .config import PlanesConfig
from .model import Labels, PlaneSet
from .refine import contacts

WAY_OUT = "need a cloud that shows a roof: check the unit, or point at the building with --at X Y"
MIN_EXPLAINED = 0.25  # share of the points that are no wall; a roof mostly under trees shows less than half
MAX_NOISE_M = 0.14  # strips of a flight that fit badly reach 0.12; leaves begin at 0.15
SMOOTH = 0.5  # of the turn between two planes is explained by how both bend: no crease
CURVED = 0.4  # share of the touching pairs, by area, that have no crease: part of the roof is curved
ALL_CURVED = 0.7
MIN_SMOOTH_PAIRS = 3
STEEP = 1.75  # slopes of 60 degrees and more bend too fast for a difference of slopes to tell
MIN_CELLS = 9
BIMODAL = -0.9  # excess kurtosis of the residuals; two sharp layers have -2, uniform scatter -1.2, a normal 0
LAYER_CELL_POINTS = 12.0  # slow waves of the noise are taken out with the mean of so many points
LAYER_POINTS = 20_000  # points enough to tell


def demand_roof(
    name: str, atoms: Atoms, labels: Labels, planes: PlaneSet, noise_m: float, config: PlanesConfig
) -> None:
    """Refuse what holds no roof.

    Parameters
    ----------
    name : str
        Of the roof, for the message.
    atoms : Atoms
    labels : int32 array, shape (m,)
        Of the atoms, walls included.
    planes : PlaneSet
        The planes of a roof's slope, each of at least `config.min_area_m2`.
    noise_m : float
        Standard deviation of the points across their planes [m].
    config : PlanesConfig

    Raises
    ------
    NoRoofError
        If no plane has `config.roof_area_m2`, points scatter too widely, or the planes explain too few.
    """
    n = int(atoms.count.sum())
    if not len(planes) or planes.area_m2.max() < config.roof_area_m2:
        raise NoRoofError(f"{name}: no plane of {config.roof_area_m2:g} m² among {n} points, {WAY_OUT}")
    if noise_m > MAX_NOISE_M:
        raise NoRoofError(
            f"{name}: points scatter by {noise_m:.2f} m about their planes (limit {MAX_NOISE_M} m), {WAY_OUT}"
        )
    roof = float(planes.moments[:, 0].sum())
    share = roof / (roof + float(atoms.count[labels < 0].sum()))
    if share < MIN_EXPLAINED:
        raise NoRoofError(
            f"{name}: planes explain {share:.0%} of the points (limit {MIN_EXPLAINED:.0%}), {WAY_OUT}"
        )


def curvature(name: str, atoms: Atoms, labels: Labels, planes: PlaneSet) -> tuple[Notice, ...]:
    """Tell a surface that bends, and was cut into chords, from one that is made of planes.

    Parameters
    ----------
    name : str
        Of the roof, for the message.
    atoms : Atoms
    labels : int32 array, shape (m,)
        Of the atoms, numbered as `planes`.
    planes : PlaneSet

    Returns
    -------
    tuple of Notice
        One, coded "curved", if planes meet without a crease on much of the area; none otherwise.

    Raises
    ------
    NoRoofError
        If they do nearly everywhere: facets of a dome or of rough ground.

    Notes
    -----
    Where a smooth surface is cut into planes, the bending within two neighbours foretells the turn between
    them; at a crease it foretells nothing.
    """
    touch = contacts(atoms, labels, len(planes))[:, : len(planes)]
    a, b = np.nonzero(np.triu(touch + touch.T, 1))
    slope = -planes.normal[:, :2] / planes.normal[:, 2:]
    bend = np.array([_bend(atoms, labels, planes, k) for k in range(len(planes))]).reshape(-1, 2, 2)
    known = np.isfinite(bend).all(axis=(1, 2)) & (np.hypot(*slope.T) < STEEP)
    a, b = a[known[a] & known[b]], b[known[a] & known[b]]
    if len(a) < MIN_SMOOTH_PAIRS:
        return ()
    turn = slope[b] - slope[a]
    step = planes.centroid[b, :2] - planes.centroid[a, :2]
    foretold = np.einsum("pij,pj->pi", 0.5 * (bend[a] + bend[b]), step)
    smooth = np.hypot(*(turn - foretold).T) < SMOOTH * np.hypot(*turn.T)
    weight = np.minimum(planes.area_m2[a], planes.area_m2[b])
    share = float(weight[smooth].sum() / weight.sum())
    if smooth.sum() < MIN_SMOOTH_PAIRS or share < CURVED:
        return ()
    if share > ALL_CURVED:
        raise NoRoofError(
            f"{name}: {share:.0%} of the surface is curved (limit {ALL_CURVED:.0%}), need flat faces"
            " that meet in creases: point at the building with --at X Y, or cut the curved part out"
        )
    text = f"{share:.0%} of the surface is curved: planes there are chords, their pitch is a mean"
    return (Notice(code="curved", text=text),)


def layers(atoms: Atoms, labels: Labels, planes: PlaneSet, xyz: Array) -> tuple[Notice, ...]:
    """Tell a surface that is in the cloud twice.

    Parameters
    ----------
    atoms : Atoms
    labels : int32 array, shape (n,)
        Of the points, numbered as `planes`; the first plane is the largest.
    planes : PlaneSet
    xyz : array, shape (n, 3)
        The points [m].

    Returns
    -------
    tuple of Notice
        One, coded "layers", if the points of the largest plane lie in two layers; none otherwise.
    """
    rows = np.flatnonzero(labels == 0)
    rows = rows[:: max(1, len(rows) // LAYER_POINTS)]
    points = xyz[rows] - planes.centroid[0] - atoms.origin
    residual = points @ planes.normal[0]
    side_m = np.sqrt(LAYER_CELL_POINTS * planes.area_m2[0] / len(rows))
    index = np.floor((points[:, :2] - points[:, :2].min(axis=0)) / side_m).astype(np.int64)
    _, cell = np.unique(index[:, 0] * (index[:, 1].max() + 1) + index[:, 1], return_inverse=True)
    count = np.bincount(cell)
    residual -= (np.bincount(cell, weights=residual) / count)[cell]
    residual = residual[count[cell] >= LAYER_CELL_POINTS / 2]
    if len(residual) < 100:
        return ()
    variance = float(np.mean(residual**2))
    kurtosis = float(np.mean(residual**4)) / variance**2 - 3.0
    if kurtosis > BIMODAL:
        return ()
    gap = 2.0 * np.sqrt(variance * np.sqrt(-kurtosis / 2.0))  # of two equal layers with that kurtosis
    text = (
        f"points lie in two layers about {100 * gap:.0f} cm apart, strips or copies that do not fit:"
        " the roof's height is known to half of that, its slopes if the layers are parallel"
    )
    return (Notice(code="layers", text=text),)


def _bend(atoms: Atoms, labels: Labels, planes: PlaneSet, k: int) -> Array:
    """Second derivatives of the height over plan [1/m], shape (2, 2); nan for a plane too small to tell."""
    cells = face_cells(atoms, np.flatnonzero(labels == k), planes, k, cell_side(atoms, planes.area_m2[k]))
    if len(cells.count) < MIN_CELLS:
        return np.full((2, 2), np.nan)
    x, y = cells.plan.T
    root = np.sqrt(cells.count)
    design = np.column_stack([np.ones(len(x)), x, y, 0.5 * x * x, x * y, 0.5 * y * y])
    height = cells.mean / planes.normal[k, 2]
    fit = np.linalg.lstsq(design * root[:, None], height * root, rcond=1e-6)[0]
    bend: Array = fit[[[3, 4], [4, 5]]]
    return bend
