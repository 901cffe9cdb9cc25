"""Our quantities by name: totals of the roof and lines of the takeoff, as sums over planes and edges.

Trade units: squares, feet, pieces; the weights turn square metres and metres into them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..measurement import Measurement
from ..roof import Order, Roof, Takeoff, TakeoffLine
from ..scene import EdgeKind
from ..units import FOOT_M, SQUARE_M2

AREA, PLAN_AREA = "roof area", "plan area"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ours:
    """One quantity of ours."""

    name: str
    unit: str
    net: Measurement
    waste: Measurement | None  # on top of net, where something is
    order: Order | None
    weights: Mapping[str, float]  # of the roof's areas [m²] and lengths [m]; empty for what is counted
    origin: tuple[str, ...]


def our_quantities(roof: Roof, takeoff: Takeoff) -> dict[str, Ours]:
    """Everything that another list can be held against, by name."""
    found = {
        AREA: _total(roof, AREA, "sq", {f"area:{p.id}": 1 / SQUARE_M2 for p in roof.planes}),
        PLAN_AREA: _total(roof, PLAN_AREA, "sq", {f"plan_area:{p.id}": 1 / SQUARE_M2 for p in roof.planes}),
    }
    for kind in EdgeKind:
        weights = {f"length:{e.id}": 1 / FOOT_M for e in roof.edges if e.kind is kind}
        if weights:
            found[str(kind)] = _total(roof, str(kind), "lf", weights)
    for line in takeoff.lines:
        found.setdefault(line.item, _of_line(roof, line))
    return found


def _total(roof: Roof, name: str, unit: str, weights: dict[str, float]) -> Ours:
    net = roof.joint.combine(weights, floor=0.0)
    origin = tuple(key.partition(":")[2] for key in weights)
    return Ours(name=name, unit=unit, net=net, waste=None, order=None, weights=weights, origin=origin)


def _of_line(roof: Roof, line: TakeoffLine) -> Ours:
    """A line as a share of what it came from: the same share of each plane, of each edge."""
    planes = [p.id for p in roof.planes if p.id in line.origin]
    edges = [e.id for e in roof.edges if e.id in line.origin]
    names = [f"area:{name}" for name in planes] if planes else [f"length:{name}" for name in edges]
    rows = {name: i for i, name in enumerate(roof.joint.names)}
    whole = sum(float(roof.joint.values[rows[name]]) for name in names)
    counted = line.unit == "ea" or whole <= 0
    weights = {} if counted else {name: line.net.value / whole for name in names}
    return Ours(
        name=line.item,
        unit=line.unit,
        net=line.net,
        waste=line.waste if line.waste.high > 0 else None,
        order=line.order,
        weights=weights,
        origin=line.origin,
    )
