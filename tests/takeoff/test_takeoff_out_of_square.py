"""Roofs that are a little out of square, as real ones and measured ones are, take what square ones take.

Oracle: the same roof without the errors, in closed form.
"""

import numpy as np
import pytest

from slopewright.takeoff.laying import Policy, lay_roof
from takeoff.takeoff_roofs import gable, lean_to, line, system, take, with_corners

FT = 0.3048


def laid(roof):
    using = system("composition-strip")
    return lay_roof(roof, roof.planes, using.pattern(using.laying))


@pytest.mark.parametrize("lean_in", [0.1, -0.1, 1.0, -1.0])
def test_a_rake_that_leans_a_little_takes_no_more_pieces(lean_in):
    """A slope of 30 x 20 ft in strips of 36 x 5 in: 48 courses, of which every one starts at the rake."""
    square = lean_to(30, 20, 6)
    corners = square.vertices / FT
    leaning = with_corners(
        square, corners + np.array([[0, 0, 0], [0, 0, 0], [0, 0, 0], [lean_in / 12, 0, 0]])
    )
    for policy in Policy:
        assert abs(laid(leaning).modules(policy) - laid(square).modules(policy)) <= 8, policy  # of some 500


@pytest.mark.parametrize("fall_in", [8.0, -8.0])
def test_courses_follow_an_eave_that_is_not_quite_level(fall_in):
    """Turned as a whole about the fall line, a slope is the same slope: its courses run along its eave."""
    square = lean_to(40, 20, 6)
    corners = square.vertices / FT
    turned = with_corners(
        square, corners + np.array([[0, 0, 0], [0, 0, 1], [0, 0, 1], [0, 0, 0]]) * fall_in / 12
    )
    assert laid(turned).planes[0].n_courses == laid(square).planes[0].n_courses
    for policy in Policy:
        assert laid(turned).modules(policy) == pytest.approx(laid(square).modules(policy), rel=0.01)


def test_a_sidewall_is_counted_along_the_fall_line_of_a_face_that_is_not_quite_flat():
    """One piece a course of 5 in (IRC R905.2.8.3), though a corner is half an inch off the plane."""
    square = lean_to(12, 20, 6)
    off = np.array([[0, 0, 0], [0, 0, 1], [0, 0, 0], [0, 0, 0]]) / 24
    bent = with_corners(square, square.vertices / FT + off)
    step = line(take(bent, using=system("composition-strip")), "step flashing")
    along = next(edge.length.value for edge in bent.edges if edge.kind == "sidewall")
    assert step.net.value == pytest.approx(along / (5 * 0.0254), rel=1e-3)


def test_a_gable_still_takes_what_a_handbook_counts():
    """Oracle: EN5156, 80 strips of 36 x 5 in a square before waste."""
    roof = gable(40, 15, 6)
    courses = laid(roof)
    squares = sum(plane.area.value for plane in roof.planes) / (100 * FT**2)
    assert courses.modules(Policy.POOLED) >= 80 * squares
