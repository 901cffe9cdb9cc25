"""Distances between corners of a roof, with one covariance.  Metres."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..errors import InputError
from ..roof import Roof
from ..scene import Array
from .measure import solve
from .model import linearised, with_differences

SAME_M = 1e-3  # a corner of the state and of roof.json, which is rounded to a micrometre


def distances(roof: Roof, pairs: Sequence[tuple[Array, Array]]) -> tuple[Array, Array]:
    """How far corners are apart.

    Parameters
    ----------
    roof : Roof
        With its state.
    pairs : sequence of (point, point)
        Where the corners lie [m].

    Returns
    -------
    values : array, shape (n,) [m]
    covariance : array, shape (n, n) [m²]

    Raises
    ------
    InputError
        If the roof has no state, or no corner where one is said to be.
    """
    if roof.state is None:
        raise InputError("roof: its state is missing, need one that was measured here (state.json)")
    solution = solve(roof.state)
    rows = np.array([[_row(solution.vertices, point) for point in pair] for pair in pairs]).reshape(-1, 2)
    batch, step = with_differences(solution.model, solution.adjusted.vector)
    shape = solution.model.shape(batch)
    vertex = np.array([corner.vertex for corner in solution.model.topology.corners])
    plan = shape.xy[:, vertex[rows[:, 1]]] - shape.xy[:, vertex[rows[:, 0]]]
    rise = shape.z[:, rows[:, 1]] - shape.z[:, rows[:, 0]]
    apart = np.sqrt((plan**2).sum(axis=-1) + rise**2) * (1 + batch[:, -3:-2])
    values, slope = linearised(apart, step)
    return values, np.asarray(slope @ solution.adjusted.covariance @ slope.T)


def _row(corners: Array, point: Array) -> int:
    away = np.linalg.norm(corners - point, axis=1)
    if away.min() > SAME_M:
        raise InputError(
            f"corner at {np.round(point, 3).tolist()}: not in state.json, was roof.json changed by hand?"
            " measure again with --force"
        )
    return int(np.argmin(away))
