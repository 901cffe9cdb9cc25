"""What a rule may look at (roof, site, counts, draws) and what it brings back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from ..measurement import Measurement
from ..roof import Edge, Plane, Roof, TakeoffRequest
from ..scene import Array, EdgeKind
from .draws import Draws, summary
from .system import System

RISE_TOLERANCE = (
    1e-6  # inches in 12: a pitch this close to a limit is at the limit, not beside it by rounding
)
LEAST_LEFT = 0.25  # of a plane's plan; the ratio of two areas that are next to nothing says no slope


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Survey:
    """The roof as far as it is in scope, with everything a rule may need."""

    roof: Roof
    system: System
    request: TakeoffRequest
    planes: tuple[Plane, ...]  # in scope, in the roof's order
    draws: Draws
    overhang_share: Array  # (n,) 0..1: where in a layer's range an overhang lies that the job does not give
    statuses: dict[str, str]  # what the scope says of items

    @property
    def n_draws(self) -> int:
        """Length of every array of draws."""
        return len(self.draws.values)

    def edges(self, kinds: Iterable[EdgeKind]) -> tuple[Edge, ...]:
        """Edges of the kinds that bound a plane in scope, in the roof's order."""
        ids = {plane.id for plane in self.planes}
        wanted = set(kinds)
        return tuple(edge for edge in self.roof.edges if edge.kind in wanted and ids & set(edge.planes))

    def untouched(self, edges: Iterable[Edge]) -> tuple[Edge, ...]:
        """Those of the edges that a plane in scope shares with one that is not."""
        ids = {plane.id for plane in self.planes}
        return tuple(edge for edge in edges if ids & set(edge.planes) and set(edge.planes) - ids)

    def plane_of(self, edge: Edge) -> Plane:
        """The first plane in scope that the edge bounds."""
        return next(plane for name in edge.planes for plane in self.planes if plane.id == name)

    def linear(self, weights: dict[str, float]) -> tuple[Measurement, Array]:
        """A weighted sum of areas and lengths: its bound from the joint covariance, and its draws."""
        return self.roof.joint.combine(weights, floor=0.0), self.draws.combine(weights)

    def slope_factor(self, plane: Plane) -> Array:
        """Draws of the way up a plane over the way in plan; its value where a draw all but cuts it away."""
        plan_m2 = self.draws[f"plan_area:{plane.id}"]
        left = plan_m2 > LEAST_LEFT * plane.plan_area.value
        factor = np.full(self.n_draws, plane.area.value / plane.plan_area.value)
        factor[left] = self.draws[f"area:{plane.id}"][left] / plan_m2[left]
        return factor

    def constant(self, value: float) -> tuple[Measurement, Array]:
        """A number that carries no uncertainty, such as a count."""
        return Measurement(value, 0.0, value, value), np.full(self.n_draws, value, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """What a rule found, in the unit of its layer."""

    net: Measurement
    draws: Array  # (n,) of the net
    origin: tuple[str, ...]
    used: Array | None = None  # (n,) what is laid to cover the net, None: the net itself
    between: tuple[Array, Array] | None = None  # (n,) each, what is bought under two policies for offcuts
    runs_m: tuple[Array, ...] = field(default=())  # (n,) each, straight runs for strips [m]
    note: str = ""  # sentence that goes behind the layer's rule
    status: str | None = None  # in place of the layer's own


def rise(plane: Plane) -> float:
    """Inches of rise in 12, with rounding errors at round numbers taken off."""
    value = plane.rise_in_12.value
    return round(value) if abs(value - round(value)) < RISE_TOLERANCE else value


def straddlers(planes: Iterable[Plane], limit: float) -> tuple[str, ...]:
    """Planes whose 95 % bound of pitch lies on both sides of a limit [inches in 12]."""
    return tuple(plane.id for plane in planes if plane.rise_in_12.low < limit < plane.rise_in_12.high)


def about_value(value: float, draws: Array) -> Measurement:
    """The estimate from the best values, with spread and bounds of the draws."""
    spread = summary(draws)
    return Measurement(float(value), spread.u, min(spread.low, float(value)), max(spread.high, float(value)))
