"""Simulated clouds as the stages of the program take them.  Metres."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely

from slopewright.scene import Cloud, RoofPoints

from .sim_cloud import SimCloud
from .surroundings import GROUND, NEIGHBOUR
from .truth import TrueRoof

REACH_M = 0.5  # points this far outside the true outline are still taken for the roof's
CONTEXT_M = 3.0  # width of the ring of context around the outline
ABOVE_GROUND_M = 1.5


def cloud_of(sim: SimCloud, *, origin: Sequence[float] = (0.0, 0.0, 0.0), classified: bool = False) -> Cloud:
    """The cloud as if read from a file; its points stay where they are, `origin` is only said."""
    return Cloud(
        xyz=sim.xyz.copy(),
        origin=np.array(origin, dtype=np.float64),
        classes=sim.classes if classified else None,
        n_returns=sim.n_returns,
        return_number=sim.return_number,
        strip=_strip(sim),
        name="simulated",
    )


def roof_points_of(sim: SimCloud, roof: TrueRoof, *, only_roof: bool = False) -> RoofPoints:
    """The roof cut out by its true outline: what stands over it stays in, unless `only_roof`."""
    outline = roof.footprint
    xy = sim.xyz[:, :2]
    close = outline.buffer(REACH_M, join_style="mitre")
    around = outline.buffer(CONTEXT_M)
    for region in (close, around):
        shapely.prepare(region)
    inside = shapely.contains_xy(close, xy[:, 0], xy[:, 1])
    high = sim.xyz[:, 2] > roof.ground_z_m + ABOVE_GROUND_M
    taken = inside & high & (sim.label != GROUND) & (sim.label != NEIGHBOUR)
    if only_roof:
        taken = sim.label >= 0
    context = shapely.contains_xy(around, xy[:, 0], xy[:, 1]) & ~taken & (sim.label != NEIGHBOUR)
    strip = _strip(sim)
    convex = outline if outline.geom_type == "Polygon" else outline.convex_hull
    return RoofPoints(
        id="r1",
        xyz=sim.xyz[taken],
        indices=np.flatnonzero(taken),
        context=sim.xyz[context],
        footprint=np.array(shapely.geometry.polygon.orient(convex).exterior.coords)[:-1, :2],
        area_m2=float(convex.area),
        ground_z_m=roof.ground_z_m,
        n_returns=None if sim.n_returns is None else sim.n_returns[taken],
        return_number=None if sim.return_number is None else sim.return_number[taken],
        strip=None if strip is None else strip[taken],
    )


def _strip(sim: SimCloud) -> npt.NDArray[np.uint16] | None:
    """Point source ids as a provider gives them: from 1 on; a matched cloud has none."""
    return None if sim.n_returns is None else sim.strip.astype(np.uint16) + np.uint16(1)
