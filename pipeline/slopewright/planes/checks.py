"""Is what was found a roof?  A dome, a lawn or a crown of leaves gives planes too.  Metres."""

from __future__ import annotations

import numpy as np

from ..errors import NoRoofError
from ..scene import Notice
from .atoms import Atoms
from .cells import cell_side, face_cells
from .config import PlanesConfig
from .model import Labels, PlaneSet

MIN_EXPLAINED = 0.25  # share of the points that are no wall; a roof mostly under trees shows less than half
CURVED_GAIN = 0.5  # share of the variance of a plane's cells that a bow explains
CURVED_NOISE = 0.7  # a bow that matters: its rms in standard deviations of the noise
CURVED_AREA = 0.6  # share of the area on bowed planes that makes a curved surface
MIN_CELLS = 12


def demand_roof(name: str, atoms: Atoms, labels: Labels, planes: PlaneSet, config: PlanesConfig) -> None:
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
    config : PlanesConfig

    Raises
    ------
    NoRoofError
        If no plane has `config.roof_area_m2`, or the planes explain too few points.
    """
    way_out = "need a cloud that shows a roof: check the unit, or point at the building with --at X Y"
    n = int(atoms.count.sum())
    if not len(planes) or planes.area_m2.max() < config.roof_area_m2:
        raise NoRoofError(f"{name}: no plane of {config.roof_area_m2:g} m² among {n} points, {way_out}")
    roof = float(planes.moments[:, 0].sum())
    none = float(atoms.count[labels < 0].sum())
    share = roof / (roof + none)
    if share < MIN_EXPLAINED:
        raise NoRoofError(
            f"{name}: planes explain {share:.0%} of the points (limit {MIN_EXPLAINED:.0%}), {way_out}"
        )


def curvature(
    name: str, atoms: Atoms, labels: Labels, planes: PlaneSet, noise_m: float
) -> tuple[Notice, ...]:
    """Tell a surface that bends from one that is made of planes.

    Parameters
    ----------
    name : str
        Of the roof, for the message.
    atoms : Atoms
    labels : int32 array, shape (m,)
        Of the atoms, numbered as `planes`.
    planes : PlaneSet
    noise_m : float
        Standard deviation of the points across a plane [m].

    Returns
    -------
    tuple of Notice
        One, coded "curved", if the larger part of the area bends; none otherwise.

    Raises
    ------
    NoRoofError
        If all of it bends and there are several planes: facets of a dome or a crown.
    """
    bent = np.array([_bent(atoms, labels, planes, k, noise_m) for k in range(len(planes))])
    share = float(planes.area_m2[bent].sum() / planes.area_m2.sum())
    if share < CURVED_AREA:
        return ()
    if len(planes) > 2 and share > 0.9:
        raise NoRoofError(
            f"{name}: curved, {share:.0%} of {planes.area_m2.sum():.0f} m² bends within its planes,"
            " need a roof of flat faces: cut the flat part out of the cloud, or give its --footprint"
        )
    text = f"{share:.0%} of the area bends: planes are chords of a curved surface, pitch and area are means"
    return (Notice(code="curved", text=text),)


def _bent(atoms: Atoms, labels: Labels, planes: PlaneSet, k: int, noise_m: float) -> bool:
    """Does a quadratic surface explain most of what a plane leaves?"""
    cells = face_cells(atoms, np.flatnonzero(labels == k), planes, k, cell_side(atoms, planes.area_m2[k]))
    if len(cells.count) < MIN_CELLS:
        return False
    x, y = cells.plan.T
    root = np.sqrt(cells.count)
    design = np.column_stack([np.ones(len(x)), x, y, x * x, x * y, y * y]) * root[:, None]
    data = cells.mean * root
    left = []
    for columns in (3, 6):
        basis = np.linalg.qr(design[:, :columns])[0]
        rest = data - basis @ (basis.T @ data)
        left.append(float(rest @ rest) / (len(x) - columns))
    bow = np.sqrt(max(left[0] - left[1], 0.0) * len(x) / float(cells.count.sum()))
    return left[1] < (1.0 - CURVED_GAIN) * left[0] and bow > CURVED_NOISE * noise_m
