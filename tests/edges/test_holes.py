"""Holes that faces enclose.  Oracle: hand-made squares, nine of them in a larger one."""

import numpy as np
from test_labelling import cells_of, line

from slopewright.edges.holes import fill_holes
from slopewright.edges.labelling import OUTSIDE

LINES = [line(0, x, (0.0, 9.0), 0) for x in (0.0, 3.0, 6.0, 9.0)]
LINES += [line(90, y, (-9.0, 0.0), 0) for y in (0.0, 3.0, 6.0, 9.0)]
CELLS = cells_of(LINES)
MIDDLES = np.array([polygon.centroid.coords[0] for polygon in CELLS.polygons])
ROOF = ((MIDDLES > 0) & (MIDDLES < 9)).all(axis=1)
MIDDLE = (np.abs(MIDDLES - 4.5) < 1).all(axis=1)
SIDE = (np.abs(MIDDLES - (1.5, 4.5)) < 1).all(axis=1)
NO_GROUND = np.zeros(len(MIDDLES))


def labels(*, without):
    return np.where(ROOF & ~without, 0, OUTSIDE)


def test_the_plan_is_nine_squares():
    assert ROOF.sum() == 9 and MIDDLE.sum() == 1 and SIDE.sum() == 1


def test_a_hole_that_a_face_encloses_is_roof():
    np.testing.assert_array_equal(fill_holes(CELLS, labels(without=MIDDLE), NO_GROUND), labels(without=~ROOF))


def test_a_court_in_which_ground_is_seen_stays_open():
    court = labels(without=MIDDLE)
    np.testing.assert_array_equal(fill_holes(CELLS, court, np.where(MIDDLE, 4.0, 0.0)), court)


def test_a_notch_at_the_edge_stays_open():
    notch = labels(without=SIDE)
    np.testing.assert_array_equal(fill_holes(CELLS, notch, NO_GROUND), notch)


def test_a_hole_between_two_faces_goes_to_both():
    """The ridge runs through the middle of a hole of two squares: each joins the face with more border."""
    two = np.where(MIDDLES[:, 1] > 6, 1, labels(without=~ROOF))
    two[~ROOF] = OUTSIDE
    top = (np.abs(MIDDLES - (4.5, 7.5)) < 1).all(axis=1)
    assert (fill_holes(CELLS, np.where(MIDDLE, OUTSIDE, two), NO_GROUND)[MIDDLE] == 0).all()
    notch = np.where(MIDDLE | top, OUTSIDE, two)
    np.testing.assert_array_equal(fill_holes(CELLS, notch, NO_GROUND), notch)
