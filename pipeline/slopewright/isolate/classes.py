"""What the file's own classification is worth, and what it adds.  ASPRS codes (LAS 1.4 R15, table 17).

Classes never veto a surface: half a roof may be filed as vegetation.  They add cells to buildings,
confirm that there is ground, and take points off that are filed as something else and do not lie on the roof.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..scene import Array, Cloud
from .config import IsolateConfig
from .flat import Flatness
from .raster import CellIndex, Grid, Mask, Surface

GROUND, VEGETATION, BUILDING, WATER = 2, (3, 4, 5), 6, 9
NOISE = (7, 18)
LEAST_SHARE = 0.02  # of the points, for a class to be believed at all
LEAST_CELLS = 30
AGREE = 0.7  # share of a class's cells that must look like it
GROUND_AGREES_M = 1.0  # a point filed as ground lies so near the ground surface
ON_ROOF_M = 0.3  # a point so near the local roof plane is roof whatever its class


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hints:
    """What the classes tell."""

    building: Mask  # cells filed as building, nothing where the class is not believed
    has_ground: bool  # the class of ground is there, and lies where the ground surface is
    trusted: bool  # both building and something else are filed, and the building looks like one


def noise_points(cloud: Cloud) -> npt.NDArray[np.bool_]:
    """Points filed as noise, shape (n,)."""
    if cloud.classes is None:
        return np.zeros(len(cloud.xyz), dtype=bool)
    noise: npt.NDArray[np.bool_] = np.isin(cloud.classes, NOISE)
    # A file where most is noise uses the code for something else.
    return noise if noise.mean() < 0.5 else np.zeros_like(noise)


def read_hints(
    cloud: Cloud,
    cell: CellIndex,
    grid: Grid,
    surface: Surface,
    flat: Flatness,
    ground_m: Array,
    config: IsolateConfig,
) -> Hints:
    """Compare the classes with the shape of the cloud.

    Parameters
    ----------
    cloud : Cloud
    cell : array, shape (n,)
        Cell of each point, -1 for none.
    grid, surface, flat
        The raster, its sums and its local planes.
    ground_m : array, shape of the grid
        The ground surface [m].
    config : IsolateConfig

    Returns
    -------
    Hints
    """
    none = Hints(building=np.zeros(grid.shape, dtype=bool), has_ground=False, trusted=False)
    classes = cloud.classes
    if classes is None:
        return none

    def share(codes: tuple[int, ...]) -> Array:
        chosen = np.isin(classes, codes) & (cell >= 0)
        counted = np.bincount(cell[chosen], minlength=grid.n_cells).reshape(grid.shape)
        all_of = np.bincount(cell[cell >= 0], minlength=grid.n_cells).reshape(grid.shape)
        portion: Array = counted / np.maximum(all_of, 1)
        return portion

    on_ground = share((GROUND,)) > 0.5
    has_ground = _believed(on_ground, surface) and bool(
        np.mean(np.abs(surface.low_m[on_ground] - ground_m[on_ground]) <= GROUND_AGREES_M) >= AGREE
    )
    building = share((BUILDING,)) > 0.5
    with np.errstate(invalid="ignore"):
        raised = ~has_ground | (surface.top_m - ground_m >= config.height_min_m)
    trusted = _believed(building, surface) and bool(np.mean((flat.flat & raised)[building]) >= AGREE)
    trusted &= bool((share((GROUND, *VEGETATION, WATER)) > 0.5).sum() >= LEAST_CELLS)
    return Hints(building=building if trusted else none.building, has_ground=has_ground, trusted=trusted)


def foreign_points(
    cloud: Cloud, cell: CellIndex, grid: Grid, flat: Flatness, roof: Mask
) -> npt.NDArray[np.bool_]:
    """Points filed as ground, vegetation or water that do not lie on the roof's local plane, shape (n,)."""
    assert cloud.classes is not None
    foreign: npt.NDArray[np.bool_] = np.isin(cloud.classes, (GROUND, *VEGETATION, WATER)) & (cell >= 0)
    rows = np.flatnonzero(foreign)
    at = cell[rows]
    x = cloud.xyz[rows, 0] - grid.x_m - (at % grid.shape[1] + 0.5) * grid.cell_m
    y = cloud.xyz[rows, 1] - grid.y_m - (at // grid.shape[1] + 0.5) * grid.cell_m
    east, north = flat.east.ravel()[at], flat.north.ravel()[at]
    off = np.abs(cloud.xyz[rows, 2] - flat.height_m.ravel()[at] - east * x - north * y)
    with np.errstate(invalid="ignore"):
        foreign[rows] = ~((off <= ON_ROOF_M * np.sqrt(1 + east**2 + north**2)) & roof.ravel()[at])
    return foreign


def _believed(cells: Mask, surface: Surface) -> bool:
    return bool(cells.sum() >= max(LEAST_CELLS, LEAST_SHARE * surface.seen.sum()))
