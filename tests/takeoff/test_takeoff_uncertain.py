"""Quantities of a roof that is hardly known.  Oracle: no slope makes a course of underlayment a mile wide."""

import pytest

from takeoff.takeoff_roofs import gable, line, take


@pytest.mark.parametrize("corner_u_m", [0.5, 1.0, 1.5])
def test_a_face_that_may_be_next_to_nothing_gives_no_endless_courses(corner_u_m):
    """A gable of 4.6 m across whose corners are known to a metre: some draws all but cut a face away."""
    known = line(take(gable(40, 15, 6, corner_u_m=0.01), ice_barrier=True), "ice barrier")
    waste = line(take(gable(40, 15, 6, corner_u_m=corner_u_m), ice_barrier=True), "ice barrier").waste
    assert waste.low <= waste.value <= waste.high
    assert waste.u < 5 * known.net.value
