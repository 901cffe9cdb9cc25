"""The incidence of a roof while an edit changes it: lists instead of tuples, indices that may fall free."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..scene import Array, Corner, Curve, Notice, PlanVertex, TracedEdge, TracedFace
from ..state import FixLength, FixPitch, Observation, PlaceBoundary, RoofState
from .naming import letters


class Net:
    """Faces, edges and corners by their ids, open to change."""

    def __init__(self, state: RoofState) -> None:
        topology = state.topology
        self.state = state
        self.planes = list(state.planes)
        self.cells = list(state.cells)
        self.boundaries = list(topology.boundaries)
        self.curves = [list(vertex.curves) for vertex in topology.vertices]
        self.xy = [vertex.xy for vertex in topology.vertices]
        self.corners = list(topology.corners)
        self.edges: dict[str, TracedEdge] = dict(zip(state.edge_ids, topology.edges, strict=True))
        self.faces: dict[str, TracedFace] = dict(zip(state.plane_ids, topology.faces, strict=True))
        self.n_points = dict(zip(state.plane_ids, state.n_points, strict=True))
        self.observations = list(state.observations)
        self.remarks = list(state.remarks)
        self._next_plane, self._next_edge = state.next_plane, state.next_edge
        self._was_used = {corner.vertex for corner in self._used_corners()}

    def new_plane_id(self) -> str:
        """An id that was never used."""
        self._next_plane += 1
        return letters(self._next_plane - 1)

    def new_edge_id(self) -> str:
        """An id that was never used."""
        self._next_edge += 1
        return f"e{self._next_edge - 1}"

    def add_vertex(self, curves: list[Curve], xy: Array) -> int:
        """Row of a new vertex."""
        self.curves.append(curves)
        self.xy.append(xy)
        return len(self.xy) - 1

    def add_corner(self, vertex: int, planes: set[int]) -> int:
        """Row of a new corner."""
        self.corners.append(Corner(vertex=vertex, planes=tuple(sorted(planes))))
        return len(self.corners) - 1

    def face_of_side(self) -> dict[tuple[int, int], str]:
        """The face that each side, from corner to corner, is part of."""
        return {
            side: name for name, face in self.faces.items() for loop in face.loops for side in sides(loop)
        }

    def edge_between(self, a: int, b: int) -> str | None:
        """The edge between two corners, whichever way it runs."""
        for name, edge in self.edges.items():
            if {edge.start, edge.end} == {a, b}:
                return name
        return None

    def lapse(self, changed: set[str], renamed: dict[str, str]) -> None:
        """Drop observations of lengths that are no more, and rename what others are of."""
        kept = []
        for observation in self.observations:
            if isinstance(observation.made, FixLength) and changed & set(observation.of):
                self.remarks.append(lapsed(observation))
                continue
            kept.append(replace(observation, of=tuple(renamed.get(name, name) for name in observation.of)))
        self.observations = kept

    def lapse_places(self, boundary: int) -> None:
        """Drop observations of where a boundary was before it was moved."""
        kept = []
        for observation in self.observations:
            if (
                isinstance(observation.made, PlaceBoundary)
                and self.edges[observation.of[0]].curve.boundary == boundary
            ):
                self.remarks.append(lapsed(observation))
            else:
                kept.append(observation)
        self.observations = kept

    def _used_corners(self) -> list[Corner]:
        rows = {c for face in self.faces.values() for loop in face.loops for c in loop}
        return [self.corners[c] for c in sorted(rows)]

    def closed(self, **changes: object) -> RoofState:
        """The next state: what fell free is taken out, everything else keeps its order."""
        used = {c for face in self.faces.values() for loop in face.loops for c in loop}
        corner_row = _rows(len(self.corners), used)
        in_use = {self.corners[c].vertex for c in used}
        free = self._was_used - in_use
        vertex_row = _rows(len(self.xy), set(range(len(self.xy))) - free)
        plane_row = _rows(len(self.planes), {face.plane for face in self.faces.values()} | self._faceless())
        boundary_used = {c.boundary for v in vertex_row for c in self.curves[v] if c.boundary is not None}
        boundary_row = _rows(len(self.boundaries), boundary_used)

        def curve(old: Curve) -> Curve:
            if old.planes is None:
                return Curve(boundary=boundary_row[old.boundary])  # type: ignore[index]
            first, second = sorted(plane_row[k] for k in old.planes)
            return Curve(planes=(first, second))

        topology = replace(
            self.state.topology,
            boundaries=tuple(self.boundaries[b] for b in boundary_row),
            vertices=tuple(
                PlanVertex(curves=tuple(curve(c) for c in self.curves[v]), xy=np.array(self.xy[v]))
                for v in vertex_row
            ),
            corners=tuple(
                Corner(
                    vertex=vertex_row[self.corners[c].vertex],
                    planes=tuple(sorted(plane_row[k] for k in self.corners[c].planes)),
                )
                for c in corner_row
            ),
            edges=tuple(
                replace(
                    edge,
                    start=corner_row[edge.start],
                    end=corner_row[edge.end],
                    planes=tuple(sorted(plane_row[k] for k in edge.planes)),
                    curve=curve(edge.curve),
                )
                for edge in self.edges.values()
            ),
            faces=tuple(
                replace(
                    face,
                    plane=plane_row[face.plane],
                    loops=tuple(tuple(corner_row[c] for c in loop) for loop in face.loops),
                )
                for face in self.faces.values()
            ),
        )
        return replace(
            self.state,
            planes=tuple(self.planes[k] for k in plane_row),
            cells=tuple(self.cells[k] for k in plane_row),
            topology=topology,
            plane_ids=tuple(self.faces),
            edge_ids=tuple(self.edges),
            n_points=tuple(self.n_points[name] for name in self.faces),
            next_plane=self._next_plane,
            next_edge=self._next_edge,
            observations=tuple(self.observations),
            remarks=tuple(self.remarks),
            **changes,  # type: ignore[arg-type]
        )

    def _faceless(self) -> set[int]:
        """Planes that had no face to begin with: nothing of them is reported, but their rows stay."""
        had = {face.plane for face in self.state.topology.faces}
        return set(range(len(self.state.planes))) - had


def lapsed(observation: Observation) -> Notice:
    """That an observation is no longer in force."""
    made = observation.made
    about = made.plane if isinstance(made, FixPitch) else made.edge
    return Notice(
        code="observation_lapsed",
        text=f"what was observed of {about} is no longer used: a later edit changed what it was measured on",
    )


def sides(loop: tuple[int, ...]) -> list[tuple[int, int]]:
    """Sides of a loop of corners, in its direction."""
    return list(zip(loop, loop[1:] + loop[:1], strict=True))


def _rows(n: int, used: set[int] | set[int | None]) -> dict[int, int]:
    """New row of each old one in use."""
    return {old: new for new, old in enumerate(old for old in range(n) if old in used)}
