"""What the stage works on: points, or cubes of points where they lie dense, and who lies next to whom.

Metres; coordinates are centred.  Atoms are in a canonical order: nothing after this sees that of the points.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree

from ..errors import InputError
from ..geometry.moments import QUANTUM_M, Array, cell_keys, cell_moments, point_moments
from ..geometry.planefit import fit_planes
from ..scene import lock
from .config import PlanesConfig

Neighbours = npt.NDArray[np.int32]

K_SPARSE = 12  # nearest points in space
K_DENSE = 18  # of the 26 cubes around one, the first found
REACH = 3.0  # neighbours, and what belongs together, are no farther apart than this many spacings
K_DENSITY = 16  # neighbours whose distance shows how dense a cloud is
DENSITY_SAMPLE = 8000  # points enough to tell
MAX_GAPS = 2.0  # cubes that a surface meets over cubes with a point in them
MIN_POINTS = 12  # fewer cannot show a plane and its noise


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Atoms:
    """Points or cubes of points with their neighbourhood; in padded tables the number m stands for nobody."""

    moments: Array  # (m, 10) of the atom itself
    local: Array  # (m, 10) of the atom and its neighbours
    centre: Array  # (m, 3) [m]
    neighbours: Neighbours  # (m, k), near first, padded with m
    normal: Array  # (m, 3) of the neighbourhood
    local_rms_m: Array  # (m,) of the neighbourhood about its plane
    area_m2: Array  # (m,) of the surface that the atom stands for
    atom_of_point: npt.NDArray[np.int64]  # (n,)
    dense: bool
    density_per_m2: float  # points per surface area
    spacing_m: float
    origin: Array  # (3,) [m] subtracted from the input

    def __post_init__(self) -> None:
        lock(self.moments, self.local, self.centre, self.neighbours, self.normal, self.local_rms_m)
        lock(self.area_m2, self.atom_of_point, self.origin)

    def __len__(self) -> int:
        return len(self.moments)

    @property
    def count(self) -> Array:
        """Points in each atom, shape (m,)."""
        return self.moments[:, 0]


def make_atoms(xyz: Array, config: PlanesConfig) -> Atoms:
    """Turn points into atoms.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Coordinates [m].
    config : PlanesConfig

    Returns
    -------
    Atoms

    Raises
    ------
    InputError
        If there are fewer than `MIN_POINTS` points or a coordinate is not finite.
    """
    if xyz.ndim != 2 or xyz.shape[1] != 3 or len(xyz) < MIN_POINTS:
        raise InputError(f"points: shape {xyz.shape}, need at least {MIN_POINTS} rows of x, y, z")
    if not np.isfinite(xyz).all():
        raise InputError(f"points: {int(np.sum(~np.isfinite(xyz)))} coordinates not finite, need numbers")
    origin = np.floor(0.5 * (xyz.min(axis=0) + xyz.max(axis=0)))
    points = np.rint((xyz - origin) * (1.0 / QUANTUM_M)) * QUANTUM_M
    density = surface_density(points)
    spacing = density**-0.5
    build = _dense if spacing < config.dense_spacing_m else _sparse
    return build(points, origin, density, spacing, config)


def surface_density(points: Array) -> float:
    """Typical number of points per square metre of surface.

    Parameters
    ----------
    points : array, shape (n, 3) [m]
        Whole multiples of `QUANTUM_M`.

    Returns
    -------
    float
        Median over points of the count within the distance of the `K_DENSITY`-th neighbour: dense walls, the
        roof's edge and stray points do not count.

    Notes
    -----
    Large clouds are thinned by a hash of the coordinates, which does not see the order of the points.
    """
    keep = 1.0
    if len(points) > DENSITY_SAMPLE:
        whole = (points * (1.0 / QUANTUM_M)).astype(np.int64).astype(np.uint64)
        mixed = whole[:, 0] * np.uint64(73856093) ^ whole[:, 1] * np.uint64(19349663)
        mixed = (mixed ^ whole[:, 2] * np.uint64(83492791)) * np.uint64(0x9E3779B97F4A7C15)
        keep = DENSITY_SAMPLE / len(points)
        points = points[(mixed >> np.uint64(40)) < keep * 2**24]  # the high bits are the even ones
    k = min(K_DENSITY, len(points) - 1)
    distance = cKDTree(points, leafsize=24, balanced_tree=False, compact_nodes=False).query(
        points, k=[k + 1]
    )[0]
    return float(k / (np.pi * np.median(np.maximum(distance, 1e-3)) ** 2) / keep)


def _sparse(points: Array, origin: Array, density: float, spacing: float, config: PlanesConfig) -> Atoms:
    """One atom a point."""
    order = np.lexsort((points[:, 2], points[:, 1], points[:, 0]))
    centre = points[order]
    n = len(centre)
    k = min(K_SPARSE + 1, n)
    distance, found = cKDTree(centre, leafsize=12).query(centre, k=k, distance_upper_bound=REACH * spacing)
    found = _without_self(found)
    moments = point_moments(centre)
    local = neighbourhood_sum(moments, slice(None), found)
    reach = np.where(np.isfinite(distance), distance, 0.0).max(axis=1)
    crowd = local[:, 0] / (np.pi * np.maximum(reach, 1e-3) ** 2)
    _, normal, spread = fit_planes(local)
    # Where strips overlap points stand closer: the local count.
    area = 1.0 / np.maximum(density, 0.8 * crowd)
    rank = np.empty(n, dtype=np.int64)
    rank[order] = np.arange(n)
    return Atoms(
        moments=moments,
        local=local,
        centre=centre,
        neighbours=found,
        normal=normal,
        local_rms_m=unbiased_rms(local, spread),
        area_m2=area,
        atom_of_point=rank,
        dense=False,
        density_per_m2=density,
        spacing_m=spacing,
        origin=origin,
    )


def _dense(points: Array, origin: Array, density: float, spacing: float, config: PlanesConfig) -> Atoms:
    """One atom a cube of points."""
    keys, strides = cell_keys(points, config.voxel_m)
    cells, moments, atom_of_point = cell_moments(points, keys)
    found = _cube_neighbours(cells, strides)
    local = neighbourhood_sum(moments, slice(None), found)
    _, normal, spread = fit_planes(local)
    # A plane meets (|nx| + |ny| + |nz|) / c² cubes per area: more than 1 / c² unless it is level.
    # Some of them are empty by chance: the count of points says how many.
    area = config.voxel_m**2 / np.abs(normal).sum(axis=1)
    area *= float(np.clip(len(points) / density / area.sum(), 1.0, MAX_GAPS))
    return Atoms(
        moments=moments,
        local=local,
        centre=moments[:, 1:4] / moments[:, :1],
        neighbours=found,
        normal=normal,
        local_rms_m=unbiased_rms(local, spread),
        area_m2=area,
        atom_of_point=atom_of_point,
        dense=True,
        density_per_m2=density,
        spacing_m=spacing,
        origin=origin,
    )


def _without_self(found: npt.NDArray[np.integer]) -> Neighbours:
    """Drop each row's own number; of several points at one spot the query may name another one first."""
    n, k = found.shape
    own = found == np.arange(n)[:, None]
    own[~own.any(axis=1), -1] = True  # not among the k: drop the farthest
    others: Neighbours = found[~own].reshape(n, k - 1).astype(np.int32)
    return others


def _cube_neighbours(cells: npt.NDArray[np.int64], strides: tuple[int, int, int]) -> Neighbours:
    """The first `K_DENSE` occupied cubes of the 26 around each: faces, then edges, then corners."""
    m = len(cells)
    padded = np.append(cells, -1)  # the key of nobody
    at: dict[tuple[int, int, int], Neighbours] = {}
    for j, k in itertools.product((-1, 0, 1), repeat=2):
        start = cells + (j * strides[1] + k * strides[2] - 1)  # the three cubes of a row follow each other
        row = np.arange(m) - 1 if j == k == 0 else np.searchsorted(cells, start)
        if j == k == 0:
            row += cells[row] != start
        for i in (-1, 0, 1):
            row = np.minimum(row, m)
            hit = padded[row] == start + (i + 1)
            at[i, j, k] = np.where(hit, row, m).astype(np.int32)
            row = row + hit
    del at[0, 0, 0]
    table = np.full((m, K_DENSE + 1), m, dtype=np.int32)  # the last column takes what is too many
    filled = np.zeros(m, dtype=np.int64)
    for step in sorted(at, key=lambda s: (abs(s[0]) + abs(s[1]) + abs(s[2]), s)):
        found = np.flatnonzero(at[step] < m)
        table[found, filled[found]] = at[step][found]
        filled[found] = np.minimum(filled[found] + 1, K_DENSE)
    return np.ascontiguousarray(table[:, :K_DENSE])


def neighbourhood_sum(moments: Array, rows: npt.NDArray[np.integer] | slice, table: Neighbours) -> Array:
    """Moments of some atoms and their neighbours together.

    Parameters
    ----------
    moments : array, shape (m, 10)
    rows : integer array, shape (r,), or slice
    table : int32 array, shape (r, k)
        Neighbours of those rows, padded with m.

    Returns
    -------
    array, shape (r, 10)
    """
    known = table < len(moments)
    start = np.concatenate([[0], np.cumsum(known.sum(axis=1))])
    beside = csr_matrix((np.ones(int(start[-1])), table[known], start), shape=(len(table), len(moments)))
    total: Array = moments[rows] + beside @ moments
    return total


def unbiased_rms(moments: Array, spread: Array) -> Array:
    """Noise of each neighbourhood about its own plane; infinite where three points leave none."""
    n = moments[:, 0]
    return np.sqrt(np.where(n > 3, spread[:, 0] * n / np.maximum(n - 3, 1), np.inf))
