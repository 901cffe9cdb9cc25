"""A convex part of a building: a plan polygon under the lowest of a few planes.  Metres; z is up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slopewright.scene import Array

Gradient = tuple[float, float, float]  # z = a x + b y + c
SAME_M = 1e-6  # heights that differ by less are one height


@dataclass(frozen=True, slots=True, kw_only=True)
class Wing:
    """A convex part of a building: over `plan`, the roof is the lowest of `planes`."""

    plan: tuple[tuple[float, float], ...]  # with overhang [m]
    walls: tuple[tuple[float, float], ...]  # outer wall line [m], empty for none
    planes: tuple[Gradient, ...]
    runs_under: bool = False  # its roof goes on under a higher overhang up to the wall

    def height(self, xy: Array) -> Array:
        """Height of the roof [m] at points, shape (..., 2)."""
        return np.min([a * xy[..., 0] + b * xy[..., 1] + c for a, b, c in self.planes], axis=0)

    def lowest(self, xy: Array) -> tuple[float, Gradient]:
        """Height of the roof [m] at a point, shape (2,), and the plane that makes it."""
        return min((float(p[0] * xy[0] + p[1] * xy[1] + p[2]), p) for p in self.planes)
