"""From what a rule found to a line of the takeoff: waste, order, status."""

from __future__ import annotations

import numpy as np

from ..roof import Order, TakeoffLine
from ..scene import Array
from ..units import FOOT_M, INCH_M
from .draws import EXACT_ZERO, summary, uniform_share
from .layers import AnyLayer
from .order import order_packages
from .package import Package
from .scope import ORDERED
from .strips import pieces_pooled, pieces_without_reuse, plan_strips
from .survey import Found, Survey

OFFCUTS = {
    "none": "order without reuse of offcuts; waste between pooled offcuts and none reused.",
    "pooled": "order with offcuts pooled; waste between pooled offcuts and none reused.",
}


def take_line(
    layer: AnyLayer, found: Found, survey: Survey, *, status: str | None, rng: np.random.Generator
) -> TakeoffLine:
    """Make the line: what is bought beyond the net, in how many packages, and whose it is.

    Parameters
    ----------
    layer : AnyLayer
        The system's layer.
    found : Found
        What its rule found.
    survey : Survey
        For the assurance.
    status : str or None
        What the scope says of the item, None if it says nothing.
    rng : numpy.random.Generator
        Source of chance for the share of waste.
    """
    status = status or found.status or layer.status
    rule = [layer.rule, found.note]
    package = layer.package
    waste, packages = EXACT_ZERO, None
    if package is not None and package.stock_ft is not None:
        fewest, most = _stock_pieces(package, found)
        share = uniform_share(0.0, 1.0, rng=rng, n=len(fewest))
        waste = summary((fewest + share * (most - fewest)) * package.stock_ft - found.draws)
        packages = most if package.offcuts == "none" else fewest
        rule.append(f"Stock {package.stock_ft:g} ft, lap {package.lap_in:g} in: {OFFCUTS[package.offcuts]}")
        rule.append(_pooled_note(package, found))
    else:
        used = found.draws if found.used is None else found.used
        if package is not None:
            used = used * package.material_factor
        if found.between is not None:
            fewest, most = found.between
            used = fewest + uniform_share(0.0, 1.0, rng=rng, n=len(fewest)) * (most - fewest)
        elif layer.waste is not None:
            low, high = layer.waste.low, layer.waste.high
            used = used * (1 + uniform_share(low, high, rng=rng, n=len(used)))
            rule.append(f"Waste {low:.0%} to {high:.0%} ({layer.waste.source}).")
        if used is not found.draws:
            waste = summary(used - found.draws)
        if package is not None:
            packages = used / package.size
    source = layer.source if package is None else f"{layer.source}; package: {package.source}"
    return TakeoffLine(
        item=layer.item,
        phase=layer.phase,
        unit=layer.unit,
        net=found.net,
        waste=waste,
        order=_order(packages, package, status, survey.request.assurance),
        status=status,
        origin=found.origin,
        rule=" ".join(part.strip() for part in rule if part),
        source=source,
    )


def _order(packages: Array | None, package: Package | None, status: str, assurance: float) -> Order | None:
    if packages is None or package is None or status not in ORDERED or not packages.any():
        return None
    return order_packages(packages, unit=package.unit, assurance=assurance)


def _pooled_note(package: Package, found: Found) -> str:
    """What pooling comes to at the best lengths, and whether fewer could do."""
    stock_m, lap_m = (package.stock_ft or 0.0) * FOOT_M, package.lap_in * INCH_M
    runs_m = [float(run.mean()) for run in found.runs_m]  # mirrored draws: their mean is the best value
    plan = plan_strips([run for run in runs_m if run > 0], stock_m=stock_m, lap_m=lap_m)
    if plan.proven:
        return f"Pooled, {plan.pieces} at the best lengths, proven the fewest."
    return f"Pooled, {plan.pieces} at the best lengths, where no fewer than {plan.bound} could do."


def _stock_pieces(package: Package, found: Found) -> tuple[Array, Array]:
    """Fewest and most stock pieces: offcuts pooled, and none used again."""
    stock_m, lap_m = (package.stock_ft or 0.0) * FOOT_M, package.lap_in * INCH_M
    most = np.sum([pieces_without_reuse(run, stock_m=stock_m, lap_m=lap_m) for run in found.runs_m], axis=0)
    return pieces_pooled(found.runs_m, stock_m=stock_m, lap_m=lap_m), most
