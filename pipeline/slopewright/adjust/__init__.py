"""Adjust: planes, boundaries and what they share become one vector with one covariance, and a Roof.

Metres and radians; z up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from ..errors import NoRoofError
from ..roof import Frame, Roof
from ..scene import Array, RoofPoints, Segmentation, Topology
from ..state import Doubt, RoofState
from .cells import cells_of
from .distances import distances
from .edits import agreement_of, apply, measured, replay, undo
from .measure import roof_of, solve
from .naming import edge_ids, plane_ids

__all__ = ["AdjustConfig", "agreement_of", "apply", "distances", "measured", "replay", "run", "undo"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AdjustConfig:
    """Standard uncertainties of what the residuals of a cloud cannot show."""

    edge_sd_m: float = 0.01  # of each free edge: shingle overhang, edges that are not quite straight
    scale_sd: float = 2e-4  # of lengths, relative
    tilt_sd_rad: float = float(np.deg2rad(0.03))  # of the vertical
    ground_sd_m: float = 0.10  # of the ground's level at the house


def run(
    points: RoofPoints,
    segmentation: Segmentation,
    topology: Topology,
    frame: Frame,
    config: AdjustConfig | None = None,
) -> Roof:
    """Adjust the roof and measure it.

    Parameters
    ----------
    points : RoofPoints
    segmentation : Segmentation
    topology : Topology
    frame : Frame
    config : AdjustConfig, optional

    Returns
    -------
    Roof
        With its state, from which edits go on.

    Raises
    ------
    NoRoofError
        If no face of positive area is left.
    """
    config = config or AdjustConfig()
    state = RoofState(
        planes=segmentation.planes,
        cells=cells_of(points.xyz, segmentation.labels, len(segmentation.planes)),
        topology=topology,
        plane_ids=(),
        edge_ids=(),
        n_points=(),
        doubt=Doubt(
            bleed_m=topology.bleed_sd_m,
            edge_m=config.edge_sd_m,
            scale=config.scale_sd,
            tilt_rad=config.tilt_sd_rad,
            ground_m=config.ground_sd_m,
        ),
        next_plane=len(topology.faces),
        next_edge=len(topology.edges) + 1,
    )
    solution = solve(state)
    if (solution.each("plan_area") <= 0).any():
        raise NoRoofError(
            f"roof {points.id}: a face turned inside out when its edges were adjusted,"
            " need a denser cloud or one with less noise"
        )
    vertices = solution.vertices
    state = replace(
        state,
        plane_ids=plane_ids(topology, vertices, solution.each("area")),
        edge_ids=edge_ids(topology, solution.each("length")),
        n_points=_points_within(points, segmentation, topology, vertices),
    )
    return roof_of(state, solution, frame)


def _points_within(
    points: RoofPoints, segmentation: Segmentation, topology: Topology, vertices: Array
) -> tuple[int, ...]:
    """How many points of its plane lie in each face's outline."""
    counts = []
    for face in topology.faces:
        own = points.xyz[segmentation.labels == face.plane, :2]
        outline = shapely.Polygon(vertices[list(face.loops[0]), :2])
        shapely.prepare(outline)
        counts.append(int(shapely.contains_xy(outline, own[:, 0], own[:, 1]).sum()))
    return tuple(counts)
