"""Axes within a plane: along its contour and up its slope.  z is up."""

from __future__ import annotations

import numpy as np

from ..scene import Array


def plane_frame(normal: Array) -> Array:
    """Two unit vectors that span a plane: along its contour and up its slope.

    Parameters
    ----------
    normal : array, shape (3,)
        Unit, z > 0.

    Returns
    -------
    array, shape (2, 3)
        (along, up) with along x up = normal; along x for a level plane.
    """
    across = np.array([-normal[1], normal[0], 0.0])
    length = float(np.hypot(normal[0], normal[1]))
    along = across / length if length > 1e-12 else np.array([1.0, 0.0, 0.0])
    return np.array([along, np.cross(normal, along)])
