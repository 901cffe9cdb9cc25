"""Observations as functions of the parameter vector, and how they stand to it."""

from __future__ import annotations

import numpy as np

from ..errors import InputError
from ..measurement import COVERAGE_95
from ..scene import Array
from ..state import Agreement, FixLength, FixPitch, Observation, RoofState
from .model import Model, Shape


class Observations:
    """What was observed of a roof, in the order in which it was told."""

    def __init__(self, state: RoofState, observations: tuple[Observation, ...]) -> None:
        self._pitch: list[tuple[int, int]] = []  # row, plane
        self._length: list[tuple[int, int]] = []  # row, edge; several edges add up
        self._place: list[tuple[int, int, tuple[float, float]]] = []  # row, boundary, spot
        face, edge = state.plane_ids.index, state.edge_ids.index
        value, u = [], []
        for row, observation in enumerate(observations):
            made = observation.made
            if isinstance(made, FixPitch):
                self._pitch.append((row, state.topology.faces[face(observation.of[0])].plane))
                value.append(made.pitch_rad)
                u.append(made.u_rad)
            elif isinstance(made, FixLength):
                self._length += [(row, edge(name)) for name in observation.of]
                value.append(made.length_m)
                u.append(made.u_m)
            else:
                boundary = state.topology.edges[edge(observation.of[0])].curve.boundary
                if boundary is None:
                    raise AssertionError("a crease has no boundary")
                self._place.append((row, boundary, made.xy))
                value.append(0.0)
                u.append(made.u_m)
        self.value = np.array(value)
        self.u = np.array(u)
        self.forced = [observation.made.forced for observation in observations]

    def __len__(self) -> int:
        return len(self.forced)

    def expected(self, model: Model, vectors: Array, shape: Shape) -> Array:
        """What the roof says of each, shape (b, m)."""
        found = np.zeros((len(vectors), len(self)))
        if self._pitch:
            row, plane = np.array(self._pitch).T
            gradient = model.gradients(vectors)[:, plane]
            found[:, row] = np.arctan(np.hypot(gradient[..., 0], gradient[..., 1]))
        if self._length:
            lengths = model.lengths(vectors, shape)
            for row, edge in self._length:
                found[:, row] += lengths[:, edge]
        for row, boundary, xy in self._place:
            found[:, row] = model.beyond(vectors, boundary, xy)
        return found


def agreement(observed: float, u: float, expected: float, u_expected: float, *, forced: bool) -> Agreement:
    """E_n of an observation against what the roof says of it."""
    e_n = (observed - expected) / (COVERAGE_95 * float(np.hypot(u, u_expected)))
    return Agreement(expected=expected, u=u_expected, e_n=e_n, used=forced or abs(e_n) <= 1.0)


def check_observed(value: float, low: float, high: float, u: float, what: str) -> None:
    """Refuse an observation that is none.

    Raises
    ------
    InputError
        If the value is out of range, or its uncertainty is not positive.
    """
    if not low < value < high:
        raise InputError(f"{what}: {value:g} is out of range, need a value from {low:g} to {high:g}")
    if not 0.0 < u < np.inf:
        raise InputError(f"{what}: standard uncertainty {u:g}, need a positive one")
