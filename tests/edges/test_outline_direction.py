"""The bearing of a level roof's sides.  Oracle: outlines drawn at a known angle."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from slopewright.edges.candidates import outline_direction

RECTANGLE = shapely.box(-6, -4, 6, 4)
ELL = shapely.box(0, 0, 9, 4).union(shapely.box(0, 0, 4, 10))


def strewn(shape, angle_rad, density, rng):
    turned = shapely.affinity.rotate(shape, angle_rad, origin=(0, 0), use_radians=True)
    x0, y0, x1, y1 = turned.bounds
    xy = rng.uniform((x0, y0), (x1, y1), (rng.poisson(density * (x1 - x0) * (y1 - y0)), 2))
    return xy[shapely.contains_xy(turned, *xy.T)]


@pytest.mark.parametrize("shape", [RECTANGLE, ELL], ids=["rectangle", "ell"])
@settings(max_examples=15, deadline=None)
@given(angle=st.floats(0, np.pi), seed=st.integers(0, 2**32 - 1))
def test_it_is_that_of_the_sides_modulo_a_right_angle(shape, angle, seed):
    """16 points/m²: a side of 8 m is known to about half a spacing over its length, 1 degree."""
    xy = strewn(shape, angle, 16.0, np.random.default_rng(seed))
    found = outline_direction(xy, 0.25)
    off = (found - angle + np.pi / 4) % (np.pi / 2) - np.pi / 4
    assert abs(off) < np.deg2rad(1.5)
