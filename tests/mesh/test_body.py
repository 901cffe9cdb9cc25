"""The building below a roof: closed, orientable, of the volume that lies between roof and ground."""

from collections import Counter

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from report import hand_roofs
from slopewright import mesh

GROUND_Z = -3.0  # of the roofs put together by hand


def volume(body):
    """By the divergence theorem, over fans of each ring from its first corner."""
    total = 0.0
    for surface in body.surfaces:
        for ring in surface.rings:
            points = body.vertices[list(ring)]
            total += sum(
                points[0] @ np.cross(points[i], points[i + 1]) / 6 for i in range(1, len(points) - 1)
            )
    return total


def below_roof(roof, ground_z):
    """Volume of the prisms under the triangles of the planes: plan area times mean height."""
    made = mesh.run(roof)
    total = 0.0
    for node in made.nodes:
        a, b, c = (made.vertices[node.triangles[:, i]] for i in range(3))
        total += float(np.cross(b - a, c - a)[:, 2] / 2 @ ((a + b + c)[:, 2] / 3 - ground_z))
    return total


@pytest.mark.parametrize("name", hand_roofs.ALL)
def test_it_is_closed_and_of_the_volume_under_the_planes(name):
    """Oracle: definition of a closed orientable surface; divergence theorem against prisms."""
    roof = hand_roofs.ALL[name]()
    body = mesh.run(roof).body
    sides = Counter((r[i - 1], r[i]) for s in body.surfaces for r in s.rings for i in range(len(r)))
    assert body.closed
    assert all(n == 1 and sides[b, a] == 1 for (a, b), n in sides.items())
    assert volume(body) == pytest.approx(below_roof(roof, GROUND_Z), rel=1e-9)


@pytest.mark.parametrize("name", hand_roofs.ALL)
def test_the_triangles_of_walls_cover_the_walls(name):
    """Oracle: Newell's vector area of each ring, and trimesh's area of the triangles."""
    body = mesh.run(hand_roofs.ALL[name]()).body
    rings = [body.vertices[list(s.rings[0])] for s in body.surfaces if s.kind == "wall"]
    areas = [np.linalg.norm(hand_roofs.ring_vector_area(ring)) for ring in rings]
    made = trimesh.Trimesh(body.vertices, body.wall_triangles, process=False)
    assert made.area == pytest.approx(sum(areas), rel=1e-9)
    assert np.abs(made.face_normals[:, 2]).max() < 1e-9


@given(
    turn=st.floats(0, 2 * np.pi), east=st.floats(-300, 300), rise=st.integers(1, 18), gap=st.floats(0.3, 2.5)
)
@settings(max_examples=40, deadline=None)
def test_a_step_that_changes_sides_is_closed(turn, east, rise, gap):
    """Two sheds that lean against one line in opposite senses: which is higher changes on the way.

    Oracle: exact geometry, as above.
    """
    slope = rise / 12
    corners = np.array(
        [
            (0, 0, 0), (4, 0, 0), (4, 6, 6 * slope), (0, 6, 6 * slope),
            (4, 0, gap * slope + 3 * slope), (8, 0, gap * slope + 3 * slope), (8, 6, 0), (4, 6, 0),
        ],
        dtype=float,
    )  # fmt: skip
    corners[4:, 2] = np.where(corners[4:, 1] == 0, (3 + gap) * slope, 0.0)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners[:, :2] = corners[:, :2] @ spin.T + [east, 0]
    roof = hand_roofs.build(corners, [[[0, 1, 2, 3]], [[4, 5, 6, 7]]])
    body = mesh.run(roof).body
    assert body.closed
    assert volume(body) == pytest.approx(below_roof(roof, GROUND_Z), rel=1e-6)


def test_a_corner_on_anothers_side_is_met_by_the_walls():
    """A low shed whose corners lie on the side of a higher one. Oracle: exact geometry."""
    corners = [
        (0, 0, 3), (10, 0, 3), (10, 5, 4), (0, 5, 4),
        (2, -3, 1), (7, -3, 1), (7, 0, 2), (2, 0, 2),
    ]  # fmt: skip
    roof = hand_roofs.build(corners, [[[0, 1, 2, 3]], [[4, 5, 6, 7]]])
    body = mesh.run(roof).body
    assert body.closed
    assert volume(body) == pytest.approx(50 * (3.5 + 3) + 15 * (1.5 + 3), rel=1e-12)


def test_planes_one_over_the_other_are_not_called_closed():
    """An upper roof that hangs over a lower one is no height field: walls cut through the lower."""
    corners = [
        (0, 0, 3), (10, 0, 3), (10, 5, 4), (0, 5, 4),
        (2, -3, 1), (7, -3, 1), (7, 1, 2), (2, 1, 2),
    ]  # fmt: skip
    roof = hand_roofs.build(corners, [[[0, 1, 2, 3]], [[4, 5, 6, 7]]])
    assert not mesh.run(roof).body.closed


def test_planes_that_share_a_side_and_lie_on_each_other_have_no_ground():
    """Their free sides do not close: there is no piece of ground to tell."""
    corners = [
        (0, 0, 3), (10, 0, 3), (10, 5, 4), (0, 5, 4),
        (0, 0, 6), (10, 0, 6), (10, 3, 7), (0, 3, 7),
    ]  # fmt: skip
    body = mesh.run(hand_roofs.build(corners, [[[0, 1, 2, 3]], [[4, 5, 6, 7]]])).body
    assert not body.closed
    assert "ground" not in {s.kind for s in body.surfaces}


def test_without_ground_there_are_planes_and_steps_only():
    body = mesh.run(hand_roofs.two_level(ground_z=None)).body
    assert not body.closed
    assert Counter(s.kind for s in body.surfaces) == {"roof": 3, "wall": 1}


def test_a_ground_above_the_eaves_is_not_believed():
    body = mesh.run(hand_roofs.gable(ground_z=0.5)).body
    assert {s.kind for s in body.surfaces} == {"roof"}
