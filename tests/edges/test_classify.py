"""What edges are called.  Oracle: the trade's definitions, on gradients written down by hand.

Common practice: a ridge is level and convex, a hip slopes and is convex, a valley is concave, an eave is the
lower edge along the contour, a rake runs up the slope, walls are where a face ends against something higher.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from slopewright.edges.classify import crease_kind, free_kind, wall_kind
from slopewright.scene import EdgeKind

NORTH, EAST = np.array([0.0, 1.0]), np.array([1.0, 0.0])
NORTH_WEST = (NORTH - EAST) / np.sqrt(2)
UP = 0.5 * NORTH  # gradient of 6 in 12 that rises north

CREASES = {  # gradient of the face that `inward` points into, of the other face, inward
    "ridge of a gable": (-UP, UP, NORTH, EdgeKind.RIDGE),
    "ridge of unequal pitches": (-2 * UP, 0.4 * UP, NORTH, EdgeKind.RIDGE),
    "hip of equal pitches": (-UP, -0.5 * EAST, NORTH_WEST, EdgeKind.HIP),
    "valley of equal pitches": (UP, 0.5 * EAST, NORTH_WEST, EdgeKind.VALLEY),
    "level valley between two gables": (UP, -UP, NORTH, EdgeKind.VALLEY),
    "break of a gambrel": (3 * UP, 0.8 * UP, -NORTH, EdgeKind.PITCH_BREAK),
    "porch roof off an eave": (0.4 * UP, 1.2 * UP, -NORTH, EdgeKind.PITCH_BREAK),
    "flat deck over a mansard": (3 * UP, 0 * UP, -NORTH, EdgeKind.PITCH_BREAK),
}
FREE = {  # gradient, inward
    "lower edge": (UP, NORTH, EdgeKind.EAVE),
    "gable end east": (UP, -EAST, EdgeKind.RAKE),
    "gable end west": (UP, EAST, EdgeKind.RAKE),
    "top of a lone slope": (UP, -NORTH, EdgeKind.RAKE),
    "slanting cut": (UP, NORTH_WEST, EdgeKind.RAKE),
    "level face": (0.01 * NORTH, EAST, EdgeKind.EAVE),
    "level face's upper edge": (0.01 * NORTH, -NORTH, EdgeKind.EAVE),
}
WALLS = {
    "roof ends at a wall above its upper edge": (UP, -NORTH, EdgeKind.HEADWALL),
    "water runs to a wall": (UP, NORTH, EdgeKind.HEADWALL),
    "roof runs up along a wall": (UP, EAST, EdgeKind.SIDEWALL),
    "wall across the corner": (UP, NORTH_WEST, EdgeKind.SIDEWALL),
}
turns = st.floats(-np.pi, np.pi)


def turned(angle_rad: float, *vectors: np.ndarray) -> list[np.ndarray]:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return [np.array([[c, -s], [s, c]]) @ v for v in vectors]


@pytest.mark.parametrize("name", CREASES)
@given(turn=turns)
def test_creases(name, turn):
    """Whichever way the house looks, and whichever of the two faces comes first."""
    first, second, inward, kind = CREASES[name]
    first, second, inward = turned(turn, first, second, inward)
    assert crease_kind(first, second, inward) == kind
    assert crease_kind(second, first, -inward) == kind


@pytest.mark.parametrize("name", FREE)
@given(turn=turns)
def test_free_edges(name, turn):
    gradient, inward, kind = FREE[name]
    assert free_kind(*turned(turn, gradient, inward)) == kind


@pytest.mark.parametrize("name", WALLS)
@given(turn=turns)
def test_walls(name, turn):
    gradient, inward, kind = WALLS[name]
    assert wall_kind(*turned(turn, gradient, inward)) == kind


@pytest.mark.parametrize("degrees", [-5.0, 5.0])
def test_an_eave_a_few_degrees_off_the_contour_is_an_eave(degrees):
    """tan(5 degrees) is 0.09 of the gradient, as a fitted plane's azimuth may be off."""
    (inward,) = turned(np.deg2rad(degrees), NORTH)
    assert free_kind(UP, inward) == EdgeKind.EAVE
