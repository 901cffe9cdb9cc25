"""The plane parts of a surface, roughly: is there a roof in it, or foliage, a dome, a lawn?  Metres.

Not the measurement: cells only, a few planes, no outlines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..scene import Array
from .flat import Flatness
from .raster import Grid

N_SEEDS = 48  # planes tried in each round
MAX_PARTS = 12
MAX_CELLS = 6000  # larger surfaces are judged by every second, third, ... cell
ALIKE = math.cos(math.radians(20))  # cells belong to a plane if their own normals are so near
CURVED_SHARE = 0.7  # of the residuals' variance explained by a paraboloid: the part is curved
ROUNDER = 0.8  # ... and that leaves less than this of what two planes leave that meet in a crease
N_TURNS = 12  # directions of the creases that are tried ...
CREASE_QUANTILES = (0.25, 0.4, 0.5, 0.6, 0.75)  # ... and where they cut the part
EXACT_M = 0.006  # residuals smaller than this show nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanePart:
    """One plane that a surface contains."""

    area_m2: float  # in plan
    pitch_rad: float
    curved: bool  # a cap of a dome rather than a plane


def plane_parts(
    row: npt.NDArray[np.intp], column: npt.NDArray[np.intp], flat: Flatness, grid: Grid, least_m2: float
) -> tuple[PlanePart, ...]:
    """Take the largest plane out of a set of flat cells, again and again.

    Parameters
    ----------
    row, column : array, shape (k,)
        The cells; those that are not flat are left out.
    flat : Flatness
    grid : Grid
    least_m2 : float
        Smaller parts are not looked for.

    Returns
    -------
    tuple of PlanePart
        Largest first.
    """
    is_flat = flat.flat[row, column]
    row, column = row[is_flat], column[is_flat]
    stride = 1 + len(row) // MAX_CELLS
    row, column = row[::stride], column[::stride]
    cell_m2 = grid.cell_m**2 * stride
    xy = grid.centre(row, column)
    if len(row):
        xy -= xy.mean(axis=0)
    z = flat.height_m[row, column]
    gradient = np.stack([flat.east[row, column], flat.north[row, column]], axis=-1)
    normal = np.concatenate([-gradient, np.ones((len(row), 1))], axis=-1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    parts: list[PlanePart] = []
    left = np.ones(len(row), dtype=bool)
    while len(parts) < MAX_PARTS and left.sum() * cell_m2 >= least_m2:
        inside = _largest(xy, z, gradient, normal, left, flat.rough_m)
        if inside.sum() * cell_m2 < least_m2:
            break
        parts.append(_part(xy[inside], z[inside], cell_m2))
        left &= ~inside
    return tuple(parts)


def _largest(
    xy: Array, z: Array, gradient: Array, normal: Array, left: npt.NDArray[np.bool_], tolerance_m: float
) -> npt.NDArray[np.bool_]:
    """Cells of the plane, of those tried, that holds most of the cells that are left; refitted once."""
    open_cells = np.flatnonzero(left)
    seed = open_cells[:: 1 + len(open_cells) // N_SEEDS]
    level = z[seed] - (gradient[seed] * xy[seed]).sum(axis=1)
    tried = _inside(xy, z, normal, np.column_stack([gradient[seed], level]), tolerance_m)[:, open_cells]
    best = np.zeros(len(z), dtype=bool)
    best[open_cells] = tried[tried.sum(axis=1).argmax()]
    if best.sum() >= 4:
        middle = xy[best].mean(axis=0)
        design = np.column_stack([xy[best] - middle, np.ones(int(best.sum()))])
        fit = np.linalg.lstsq(design, z[best], rcond=None)[0]
        fit[2] -= fit[:2] @ middle
        refit = _inside(xy, z, normal, fit[None], tolerance_m)[0] & left
        best = refit if refit.sum() >= best.sum() else best
    return best


def _inside(xy: Array, z: Array, normal: Array, planes: Array, tolerance_m: float) -> npt.NDArray[np.bool_]:
    """Which of k cells lie in each of s planes z = a x + b y + c, shape (s, 3): shape (s, k)."""
    steepness = np.sqrt(1 + (planes[:, :2] ** 2).sum(axis=1))[:, None]
    upright = np.column_stack([-planes[:, :2], np.ones(len(planes))]) / steepness
    off = np.abs(z - planes[:, 2:] - planes[:, :2] @ xy.T)
    inside: npt.NDArray[np.bool_] = (upright @ normal.T >= ALIKE) & (off <= tolerance_m * steepness)
    return inside


def _part(xy: Array, z: Array, cell_m2: float) -> PlanePart:
    x, y = (xy - xy.mean(axis=0)).T
    linear = np.stack([x, y, np.ones(len(x))], axis=-1)
    plane = np.linalg.lstsq(linear, z, rcond=None)[0]
    residual = z - linear @ plane
    slope = math.hypot(plane[0], plane[1])
    curved = False
    if len(z) > 12 and residual.std() / math.hypot(1, slope) > EXACT_M:
        bowed = _rest(np.column_stack([linear, x * x, x * y, y * y]), residual)
        curved = bool(
            1 - bowed / residual.var() > CURVED_SHARE and bowed < ROUNDER * _creased(linear, residual)
        )
    return PlanePart(area_m2=len(z) * cell_m2, pitch_rad=math.atan(slope), curved=curved)


def _creased(linear: Array, residual: Array) -> float:
    """Variance that is left when a part is two planes that meet in the best of some lines [m²]."""
    best = math.inf
    for angle in np.arange(N_TURNS) * math.pi / N_TURNS:
        across = linear[:, :2] @ np.array([math.cos(angle), math.sin(angle)])
        for at in np.quantile(across, CREASE_QUANTILES):
            best = min(best, _rest(np.column_stack([linear, np.maximum(across - at, 0)]), residual))
    return best


def _rest(basis: Array, values: Array) -> float:
    """Variance of what a basis leaves of some values."""
    return float((values - basis @ np.linalg.lstsq(basis, values, rcond=None)[0]).var())
