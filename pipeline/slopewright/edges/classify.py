"""What an edge is called, from the geometry of what lies on both sides.  Never from a template.

Gradients are (dz/dx, dz/dy) of planes; `inward` is the unit vector in plan from the edge into a face.
"""

from __future__ import annotations

import numpy as np

from ..scene import Array, EdgeKind

LEVEL_SLOPE = 0.04  # rise along an edge [1] under which it is level, whatever the pitch
LEVEL_SHARE_CREASE = 0.12  # of the plane's gradient: creases are well determined
LEVEL_SHARE_FREE = 0.2  # of the plane's gradient: free edges are less so
FLAT_SLOPE = 0.03  # under some 1/3 in 12 a face has no downslope to speak of: all its free edges are eaves


def _level(gradient: Array, along: Array, share: float) -> bool:
    slope = float(np.hypot(*gradient))
    return abs(float(gradient @ along)) < max(LEVEL_SLOPE, share * slope)


def crease_kind(first: Array, second: Array, inward_first: Array) -> EdgeKind:
    """Ridge, hip, valley or pitch break.

    Parameters
    ----------
    first, second : array, shape (2,)
        Gradients of the two faces.
    inward_first : array, shape (2,)
        From the edge into the first face; the second lies opposite.
    """
    along = np.array([-inward_first[1], inward_first[0]])
    rise_first = float(first @ inward_first)
    rise_second = -float(second @ inward_first)
    level = _level(first, along, LEVEL_SHARE_CREASE) and _level(second, along, LEVEL_SHARE_CREASE)
    if level and rise_first * rise_second <= 0:
        return EdgeKind.PITCH_BREAK
    if rise_first + rise_second < 0:
        return EdgeKind.RIDGE if level else EdgeKind.HIP
    return EdgeKind.VALLEY


def free_kind(gradient: Array, inward: Array) -> EdgeKind:
    """Eave for a lower edge along the contour, rake for every other free edge."""
    if float(np.hypot(*gradient)) < FLAT_SLOPE:
        return EdgeKind.EAVE
    along = np.array([-inward[1], inward[0]])
    if _level(gradient, along, LEVEL_SHARE_FREE) and float(gradient @ inward) > 0:
        return EdgeKind.EAVE
    return EdgeKind.RAKE


def wall_kind(gradient: Array, inward: Array) -> EdgeKind:
    """Headwall where a face ends along its contour against something higher, else sidewall."""
    along = np.array([-inward[1], inward[0]])
    return EdgeKind.HEADWALL if _level(gradient, along, LEVEL_SHARE_FREE) else EdgeKind.SIDEWALL
