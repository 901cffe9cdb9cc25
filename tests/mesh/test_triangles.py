"""The mesh against the polygons it is cut from."""

from collections import Counter

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from report import hand_roofs
from slopewright import mesh
from slopewright.errors import DegenerateGeometryError
from slopewright.scene import EdgeKind


def triangle_vectors(roof_mesh, triangles):
    a, b, c = (roof_mesh.vertices[triangles[:, i]] for i in range(3))
    return np.cross(b - a, c - a) / 2


def directed_edges(triangles):
    return Counter((int(t[i]), int(t[(i + 1) % 3])) for t in triangles for i in range(3))


@pytest.mark.parametrize("name", hand_roofs.ALL)
def test_triangles_cover_each_plane_and_look_up(name):
    """Oracle: Newell's vector area of the rings; each triangle's vector is along the plane's normal."""
    roof = hand_roofs.ALL[name]()
    roof_mesh = mesh.run(roof)
    assert [node.plane for node in roof_mesh.nodes] == [plane.id for plane in roof.planes]
    for node, plane in zip(roof_mesh.nodes, roof.planes, strict=True):
        vectors = triangle_vectors(roof_mesh, node.triangles)
        polygon = sum(hand_roofs.ring_vector_area(roof.ring(loop)) for loop in plane.loops)
        np.testing.assert_allclose(vectors.sum(axis=0), polygon, rtol=0, atol=1e-9 * plane.area.value)
        areas = np.linalg.norm(vectors, axis=1)
        assert areas.sum() == pytest.approx(np.linalg.norm(polygon), rel=1e-9)
        np.testing.assert_allclose(vectors @ plane.normal, areas, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("name", hand_roofs.ALL)
def test_creases_are_shared_by_two_faces_in_opposite_directions(name):
    """Oracle: the definition of an orientable surface; all else is boundary, used once."""
    roof = hand_roofs.ALL[name]()
    nodes = {node.plane: directed_edges(node.triangles) for node in mesh.run(roof).nodes}
    for edge in roof.edges:
        uses = [(edges[edge.start, edge.end], edges[edge.end, edge.start]) for edges in nodes.values()]
        forward, backward = np.sum(uses, axis=0)
        if len(edge.planes) == 2:
            assert (forward, backward) == (1, 1)
            assert {
                p for p in nodes if sum(nodes[p][e] for e in ((edge.start, edge.end), (edge.end, edge.start)))
            } == {*edge.planes}
        else:
            assert forward + backward == 1
    every = sum(nodes.values(), Counter())
    boundary = sum(1 for a, b in every if (b, a) not in every)
    assert boundary == sum(1 for edge in roof.edges if len(edge.planes) == 1)
    assert max(every.values()) == 1


def test_a_hole_stays_open():
    """Oracle: no triangle's middle lies in the hole."""
    roof = hand_roofs.gable_with_hole()
    roof_mesh = mesh.run(roof)
    hole = shapely.Polygon(roof.ring(roof.planes[0].loops[1])[:, :2])
    middles = roof_mesh.vertices[roof_mesh.nodes[0].triangles].mean(axis=1)
    assert not shapely.contains_xy(hole, middles[:, 0], middles[:, 1]).any()


def star(radii, slope, turn):
    """A star-shaped ring on a tilted plane, with a corner in the middle of every second side."""
    angles = turn + np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    ring = np.array(radii)[:, None] * np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    middles = (ring + np.roll(ring, -1, axis=0)) / 2
    plan = np.stack([ring, middles], axis=1).reshape(-1, 2)
    return np.column_stack([plan, plan @ np.array(slope)])


@settings(max_examples=60, deadline=None)
@given(
    radii=st.lists(st.floats(0.5, 12.0), min_size=3, max_size=12),
    slope=st.tuples(st.floats(-1.5, 1.5), st.floats(-1.5, 1.5)),
    turn=st.sampled_from([0.0, 0.3, np.pi / 4]),
)
def test_corners_in_the_middle_of_a_side_are_kept(radii, slope, turn):
    """A T-junction's corner lies on a straight side: without it the neighbour's crease would gape."""
    ring = star(radii, slope, turn)
    if hand_roofs.ring_vector_area(ring)[2] < 0.1:
        return
    roof = hand_roofs.build(ring, [[list(range(len(ring)))]])
    (node,) = mesh.run(roof).nodes
    edges = directed_edges(node.triangles)
    boundary = {edge for edge in edges if edge[::-1] not in edges}
    assert boundary == {(i, (i + 1) % len(ring)) for i in range(len(ring))}
    assert np.linalg.norm(triangle_vectors(mesh.run(roof), node.triangles), axis=1).sum() == pytest.approx(
        roof.planes[0].area.value, rel=1e-9
    )


def test_an_outline_that_folds_by_square_centimetres_is_cut_all_the_same():
    """A sliver edge, 4 cm long, so turned that its neighbours cross by some cm²; area by Newell."""
    slope = 0.65
    plan = [(0, 0), (5.4, 0), (5.55, 9.4), (5.388, 18.794), (5.42, 18.793), (0, 13.4)]
    ring = [(x, y, slope * x) for x, y in plan]
    roof = hand_roofs.build(ring, [[list(range(len(ring)))]])
    assert not shapely.Polygon(plan).is_valid
    roof_mesh = mesh.run(roof)
    (node,) = roof_mesh.nodes
    area = np.linalg.norm(triangle_vectors(roof_mesh, node.triangles), axis=1).sum()
    assert area == pytest.approx(roof.planes[0].area.value, rel=2e-5)
    assert len(roof_mesh.vertices) == len(plan) + 1
    np.testing.assert_allclose(roof_mesh.vertices @ roof.planes[0].normal, roof.planes[0].offset, atol=1e-12)


def test_an_outline_that_crosses_itself_is_refused_by_plane():
    ring = [(0, 0, 0), (4, 0, 0), (4, 4, 0), (2, -1, 0), (0, 4, 0)]
    roof = hand_roofs.build(ring, [[[0, 1, 2, 3, 4]]])
    with pytest.raises(DegenerateGeometryError, match=r"plane A: outline encloses .* do not cross"):
        mesh.run(roof)


def test_the_hand_built_roofs_are_what_they_are_called():
    """Guards the fixtures: kinds by the names of the roofs (builder's handbook terms)."""

    def kinds(name):
        return Counter(edge.kind for edge in hand_roofs.ALL[name]().edges)

    k = EdgeKind
    assert kinds("gable") == {k.EAVE: 2, k.RAKE: 4, k.RIDGE: 1}
    assert kinds("hip") == {k.EAVE: 4, k.HIP: 4, k.RIDGE: 1}
    assert kinds("cross_gable") == {k.EAVE: 5, k.RAKE: 6, k.RIDGE: 2, k.VALLEY: 2}
    assert kinds("two_level")[k.HEADWALL] == 1
    assert kinds("dormered_hip")[k.VALLEY] == 20
