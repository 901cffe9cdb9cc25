"""The takeoff: every layer of the system, in the order of the work, measured on the roof."""

from __future__ import annotations

import numpy as np

from ..roof import Roof, Takeoff, TakeoffRequest
from ..scene import EdgeKind, Notice
from .classes import area_classes, straddling
from .draws import draw
from .layers import CountLayer, EaveBandLayer, VentilationLayer
from .lines import take_line
from .order import ROUNDING_RULE
from .rules import RULES
from .scope import check_request, item_statuses
from .survey import Survey, rise
from .system import System


def run(roof: Roof, system: System, request: TakeoffRequest, *, rng: np.random.Generator) -> Takeoff:
    """Take the quantities of a roof system off a measured roof.

    Parameters
    ----------
    roof : Roof
        Measured roof [m, m²] with its joint covariance.
    system : System
        The layers, from `system_from_toml`.
    request : TakeoffRequest
        Site, scope, counts and the wanted assurance of orders.
    rng : numpy.random.Generator
        Source of chance for orders and waste; one seed gives one takeoff.

    Returns
    -------
    Takeoff
        Lines in trade units, in the order of the work; classes in m²; notices.

    Raises
    ------
    InputError
        If the request names a plane, an item or a count that does not exist, or holds an absurd number.
    """
    check_request(roof, system, request)
    wanted = request.scope.planes
    planes = tuple(p for p in roof.planes if wanted is None or p.id in wanted)
    joint_rng, *layer_rngs = rng.spawn(1 + len(system.layer))
    survey = Survey(
        roof=roof, system=system, request=request, planes=planes, draws=draw(roof.joint, rng=joint_rng)
    )
    statuses = item_statuses(system, request.scope)
    lines = []
    for layer, layer_rng in zip(system.layer, layer_rngs, strict=True):
        if layer.deck is not None and layer.deck != request.site.deck:
            continue
        found = RULES[layer.measure](layer, survey, layer_rng)
        if found is not None:
            lines.append(take_line(layer, found, survey, status=statuses.get(layer.item), rng=layer_rng))
    return Takeoff(
        system=system.name, lines=tuple(lines), classes=area_classes(survey), notices=_notices(survey)
    )


def _notices(survey: Survey) -> tuple[Notice, ...]:
    """What a reader must know beside the lines."""
    site, system = survey.request.site, survey.system
    notices = [
        Notice(
            code="no_coverage_decision",
            text="quantities and status are listed as asked; nothing here decides what a policy covers",
        ),
        Notice(code="order_rule", text=ROUNDING_RULE),
    ]
    low = tuple(p.id for p in survey.planes if rise(p) < system.shingle.lowest_rise)
    if low:
        text = f"below {system.shingle.lowest_rise:g}:12 these shingles are not allowed on {', '.join(low)}"
        notices.append(
            Notice(code="too_low_for_shingles", text=f"{text} ({system.shingle.source})", about=low)
        )
    notices += straddling(survey)
    notices += _untouched(survey)
    unknown = tuple(edge.id for edge in survey.edges([EdgeKind.UNKNOWN]))
    if unknown:
        text = f"edges of unknown kind are in no line: {', '.join(unknown)}"
        notices.append(Notice(code="unknown_edges", text=text, about=unknown))
    if any(isinstance(layer, EaveBandLayer) for layer in system.layer) and site.ice_barrier is not False:
        if site.ice_barrier is None:
            text = "ice barrier not decided: say yes or no in job.toml [site] ice_barrier"
            notices.append(Notice(code="ice_barrier_not_said", text=text))
        if site.overhang_m is None:
            text = (
                "overhang not given: measure it for job.toml [site] overhang_m, the ice barrier hangs on it"
            )
            notices.append(Notice(code="overhang_not_said", text=text))
    if site.shingle_layers >= system.recover_refused_from_layers:
        text = (
            f"{site.shingle_layers} layers: tear-off is due, none may go over them ({system.recover_source})"
        )
        notices.append(Notice(code="recover_refused", text=text))
    if site.storeys is None and any(p.eave_height is None for p in survey.planes):
        text = "height of some eaves not seen: give job.toml [site] storeys for the height classes"
        notices.append(Notice(code="storeys_not_known", text=text))
    asked = [
        x.count
        for x in system.layer
        if (isinstance(x, CountLayer) and x.ask) or isinstance(x, VentilationLayer)
    ]
    missing = [name for name in dict.fromkeys(asked) if name not in survey.request.counts]
    if missing:
        text = f"not counted on site: {', '.join(missing)}; give them in job.toml [counts]"
        notices.append(Notice(code="not_counted", text=text))
    return tuple(notices)


def _untouched(survey: Survey) -> list[Notice]:
    """Edges between a plane in scope and one that is not."""
    inside = {plane.id for plane in survey.planes}
    outside = {plane.id for plane in survey.roof.planes} - inside
    shared = tuple(
        edge.id for edge in survey.roof.edges if inside & set(edge.planes) and outside & set(edge.planes)
    )
    if not shared:
        return []
    text = f"shared with a plane out of scope, counted whole, tie-in to be agreed: {', '.join(shared)}"
    return [Notice(code="shared_with_untouched", text=text, about=shared)]
