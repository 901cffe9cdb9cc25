"""Where the top surface is locally flat: plane fits in windows, the best window of every cell.

Metres.  Roofs and ground are flat at the scale of a metre or two; foliage is not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from ..scene import Array
from .config import IsolateConfig
from .raster import Grid, Mask, Surface

MIN_POINTS = 6  # three fix the plane, three more show that it is one
FINE_POINTS = 20  # a window of fewer points may be smooth by chance in foliage
FINE_ROUGH_M = 0.05  # residual that a small window may have however low the noise
MIN_FILLED = 0.5  # share of a window's cells that hold points
MIN_SPREAD = 0.15  # standard deviation of the points across a window's narrow side, in window sides
NOISE_QUANTILE = 0.2  # of the windows' residuals; roofs and ground give the low end, even among trees
NOISE_RANGE_M = (0.01, 0.06)
ROUGH_NOISES = 3.5  # a window rougher than this many times the noise is not flat ...
ROUGH_RANGE_M = (0.08, 0.18)  # ... within these limits: smooth crowns from image matching start at 0.1 m


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flatness:
    """Per cell: the plane of the flattest window that the cell lies in and fits.

    Height over a cell's centre plus (x, y) from there: height_m + east * x + north * y.
    """

    flat: Mask
    height_m: Array  # NaN where not flat
    east: Array  # dz/dx
    north: Array  # dz/dy
    noise_m: float  # of the points across a plane
    rough_m: float  # residual rms above which a window is not flat

    def completed(self, other: Flatness, where: Mask) -> Flatness:
        """The same, with planes of another taken over in cells where this one has none."""
        taken = where & ~self.flat & other.flat
        return replace(
            self,
            flat=self.flat | taken,
            height_m=np.where(taken, other.height_m, self.height_m),
            east=np.where(taken, other.east, self.east),
            north=np.where(taken, other.north, self.north),
        )


def find_flat(surface: Surface, grid: Grid, config: IsolateConfig) -> tuple[Flatness, Flatness]:
    """Fit a plane in every window and give each cell the best that it belongs to.

    Parameters
    ----------
    surface : Surface
        Sums per cell.
    grid : Grid
    config : IsolateConfig
        Window side and steepest slope.

    Returns
    -------
    broad : Flatness
        In windows of the configured side: what is flat here is roof or ground.
    fine : Flatness
        In the least windows that hold enough points: narrow faces too, but also more that happens to be
        smooth.  The broad one where no smaller window does.

    Notes
    -----
    A window that straddles a ridge or an eave is not flat, but its cells lie in others that are.
    """
    reach = max(1, round(config.window_m / 2 / grid.cell_m))
    height, east, north, rms, n, fits = _fit_windows(surface, grid.cell_m, reach)
    enough = fits & (n >= MIN_POINTS + 2)
    low, high = NOISE_RANGE_M
    noise_m = float(np.clip(np.quantile(rms[enough], NOISE_QUANTILE), low, high)) if enough.any() else high
    rough_m = float(np.clip(ROUGH_NOISES * noise_m, *ROUGH_RANGE_M))
    steepest = np.tan(config.slope_max_rad)

    def best(reach: int, height: Array, east: Array, north: Array, rms: Array, fits: Mask) -> Flatness:
        fits = fits & (np.hypot(east, north) < steepest)
        window = (height, east, north, rms)
        return _best_of_windows(surface, grid.cell_m, reach, window, fits, noise_m, rough_m)

    broad = best(reach, height, east, north, rms, fits & (rms <= rough_m))
    usual = float(np.median(surface.n[surface.seen]))
    small = next((k for k in range(1, reach) if (2 * k + 1) ** 2 * usual >= FINE_POINTS), reach)
    if small == reach:
        return broad, broad
    height, east, north, rms, _, fits = _fit_windows(surface, grid.cell_m, small)
    # Crowns look the flatter the smaller the window: no allowance beyond the noise here.
    smooth = fits & (rms <= max(FINE_ROUGH_M, ROUGH_NOISES * noise_m))
    return broad, best(small, height, east, north, rms, smooth)


def _fit_windows(
    surface: Surface, cell_m: float, reach: int
) -> tuple[Array, Array, Array, Array, Array, Mask]:
    """Plane of each window about its middle cell's centre, orthogonal residual rms [m], points, validity."""
    step = cell_m * 1000
    ones: Array = np.full(2 * reach + 1, 1.0)
    one: Array = step * np.arange(-reach, reach + 1, dtype=np.float64)
    square: Array = one * one

    def box(values: Array, east: Array, north: Array) -> Array:
        along = ndimage.correlate1d(values, east, axis=1, mode="constant")
        summed: Array = ndimage.correlate1d(along, north, axis=0, mode="constant")
        return summed

    (sx, sy, sz), (sxx, sxy, syy, sxz, syz, szz), count = surface.first, surface.second, surface.n
    n = box(count, ones, ones)
    filled = box(surface.seen.astype(np.float64), ones, ones)
    x = box(sx, ones, ones) + box(count, one, ones)
    y = box(sy, ones, ones) + box(count, ones, one)
    z = box(sz, ones, ones)
    xx = box(sxx, ones, ones) + 2 * box(sx, one, ones) + box(count, square, ones)
    yy = box(syy, ones, ones) + 2 * box(sy, ones, one) + box(count, ones, square)
    xy = box(sxy, ones, ones) + box(sx, ones, one) + box(sy, one, ones) + box(count, one, one)
    xz = box(sxz, ones, ones) + box(sz, one, ones)
    yz = box(syz, ones, ones) + box(sz, ones, one)
    zz = box(szz, ones, ones)

    with np.errstate(invalid="ignore", divide="ignore"):
        x, y, z = x / n, y / n, z / n
        xx, xy, yy = xx / n - x * x, xy / n - x * y, yy / n - y * y
        xz, yz, zz = xz / n - x * z, yz / n - y * z, zz / n - z * z
        determinant = xx * yy - xy * xy
        east = (xz * yy - yz * xy) / determinant
        north = (yz * xx - xz * xy) / determinant
        variance = np.maximum(zz - east * xz - north * yz, 0) * n / np.maximum(n - 3, 1)
        rms = np.sqrt(variance / (1 + east**2 + north**2)) / 1000
        narrow = (xx + yy) / 2 - np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
    side = len(ones) * step
    fits = (n >= MIN_POINTS) & (filled >= MIN_FILLED * len(ones) ** 2) & (narrow >= (MIN_SPREAD * side) ** 2)
    with np.errstate(invalid="ignore"):
        height = surface.base_m + (z - east * x - north * y) / 1000
    # Planes of windows that do not determine one are zero, so that no NaN goes on.
    height, east, north = (np.where(fits, value, 0.0) for value in (height, east, north))
    return height, east, north, np.where(fits, rms, np.inf), n, fits


def _best_of_windows(
    surface: Surface,
    cell_m: float,
    reach: int,
    window: tuple[Array, Array, Array, Array],
    fits: Mask,
    noise_m: float,
    rough_m: float,
) -> Flatness:
    """Each cell takes the flattest window around it whose plane passes through the cell's own points."""
    height, east, north, rms = window
    rms = np.where(fits, rms, np.inf)
    shape = fits.shape
    with np.errstate(invalid="ignore", divide="ignore"):
        own_x, own_y = surface.first[0] / surface.n / 1000, surface.first[1] / surface.n / 1000
    own_z = surface.mean_m
    best = np.full(shape, np.inf)
    plane = np.full((3, *shape), np.nan)
    steps = sorted({-reach, -(reach // 2), 0, reach // 2, reach})
    for down in steps:
        for right in steps:
            here, there = _overlap(shape, down, right)
            row, column = np.nonzero((rms[there] < best[here]) & surface.seen[here])
            row, column = row + here[0].start, column + here[1].start
            around = (row + down, column + right)
            east_w, north_w = east[around], north[around]
            # The window's middle lies (right, down) cells away, so the cell's centre lies (-right, -down).
            centre = height[around] - (east_w * right + north_w * down) * cell_m
            at = (row, column)
            off = np.abs(own_z[at] - centre - east_w * own_x[at] - north_w * own_y[at])
            near = off <= rough_m * np.sqrt(1 + east_w**2 + north_w**2)
            at = (row[near], column[near])
            best[at] = rms[around][near]
            for k, value in enumerate((centre, east_w, north_w)):
                plane[k][at] = value[near]
    return Flatness(
        flat=np.isfinite(best),
        height_m=plane[0],
        east=plane[1],
        north=plane[2],
        noise_m=noise_m,
        rough_m=rough_m,
    )


def _overlap(
    shape: tuple[int, ...], down: int, right: int
) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Slices of the cells whose neighbour (down, right) exists, and of those neighbours."""
    here, there = [], []
    for size, shift in zip(shape, (down, right), strict=True):
        here.append(slice(max(0, -shift), max(0, size - max(0, shift))))
        there.append(slice(max(0, shift), max(0, size + min(0, shift))))
    return (here[0], here[1]), (there[0], there[1])
