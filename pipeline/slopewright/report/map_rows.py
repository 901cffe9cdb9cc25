"""What map files say of each plane and each edge: one row of plain attributes, metric."""

from __future__ import annotations

from ..roof import Edge, Plane
from .jsonfile import rounded
from .text import plain_text

Row = dict[str, str | float | int]


def plane_row(plane: Plane) -> Row:
    """Attributes of a plane."""
    return {
        "id": plain_text(plane.id),
        "area_m2": rounded(plane.area.value),
        "area_low_m2": rounded(plane.area.low),
        "area_high_m2": rounded(plane.area.high),
        "plan_area_m2": rounded(plane.plan_area.value),
        "pitch_deg": rounded(plane.pitch_deg.value),
        "pitch_low_deg": rounded(plane.pitch_deg.low),
        "pitch_high_deg": rounded(plane.pitch_deg.high),
        "rise_in_12": rounded(plane.rise_in_12.value),
        "azimuth_deg": rounded(plane.azimuth_deg.value),
        "observed": rounded(plane.observed),
    }


def edge_row(edge: Edge) -> Row:
    """Attributes of an edge; its length is that on the slope, not in plan."""
    return {
        "id": plain_text(edge.id),
        "kind": str(edge.kind),
        "length_m": rounded(edge.length.value),
        "length_low_m": rounded(edge.length.low),
        "length_high_m": rounded(edge.length.high),
        "planes": " ".join(plain_text(name) for name in edge.planes),
        "observed": rounded(edge.observed),
    }
