"""How far points scatter about a roof's planes, before any plane is known.  Metres."""

from __future__ import annotations

import numpy as np

from ..geometry.moments import Array, cell_keys, sum_by_label
from ..geometry.planefit import fit_planes
from .atoms import Atoms
from .config import PlanesConfig

WINDOW_M = 1.5  # wide enough to feel noise that is correlated over half a metre to a metre
WINDOW_SPACINGS = 3.5
MIN_FILL = 0.35  # of the points that a full window holds
MIN_ROUNDNESS = 0.25  # middle over largest variance: strips along an edge say nothing
QUANTILE = 0.3  # most windows hold an edge; the flattest hold luck
MAX_NOISE_M = 0.2  # above this nothing is a plane


def first_noise(atoms: Atoms, config: PlanesConfig) -> float:
    """Noise from windows over the cloud that hold one plane.

    Parameters
    ----------
    atoms : Atoms
    config : PlanesConfig

    Returns
    -------
    float
        Standard deviation across the planes [m], between `config.min_noise_m` and `MAX_NOISE_M`.

    Notes
    -----
    A low quantile over windows of each window's unbiased rms.  Windows of 1.5 m feel the correlated part of
    the noise, which the nearest neighbours of a point do not show.  Walls do not lower it: a beam that errs
    in range by 10 cm still hits them within millimetres.
    """
    window_m = max(WINDOW_M, WINDOW_SPACINGS * atoms.spacing_m)
    expected = window_m**2 * atoms.density_per_m2
    found = []
    for shift in ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5)):
        corner = atoms.centre.min(axis=0) - np.array([*shift, 0.0]) * window_m
        keys, _ = cell_keys(np.vstack([atoms.centre, corner]), window_m)
        _, window = np.unique(keys[:-1], return_inverse=True)
        sums = sum_by_label(atoms.moments, window, int(window.max()) + 1)
        sums = sums[sums[:, 0] >= max(MIN_FILL * expected, 5.0)]
        if len(sums):
            _, normal, spread = fit_planes(sums)
            n = sums[:, 0]
            rms = np.sqrt(spread[:, 0] * n / (n - 3.0))
            wall = normal[:, 2] < np.cos(config.wall_slope_rad)
            found.append(np.column_stack([rms, wall])[spread[:, 1] > MIN_ROUNDNESS * spread[:, 2]])
    windows: Array = np.concatenate(found) if found else np.empty((0, 2))
    roof = windows[windows[:, 1] == 0, 0]
    if len(roof):
        guess = max(float(np.quantile(rms, QUANTILE)) for rms in (roof, windows[:, 0]))
    else:
        near = atoms.local_rms_m[np.isfinite(atoms.local_rms_m)]
        guess = float(np.quantile(near, QUANTILE)) if len(near) else MAX_NOISE_M
    return float(np.clip(guess, config.min_noise_m, MAX_NOISE_M))
