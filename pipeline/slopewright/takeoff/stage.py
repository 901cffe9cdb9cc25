"""The takeoff: every layer of the system, in the order of the work, measured on the roof."""

from __future__ import annotations

import numpy as np

from ..roof import Roof, Takeoff, TakeoffLine, TakeoffRequest
from .classes import area_classes
from .draws import draw, uniform_share
from .lines import take_line
from .notices import take_notices
from .rules import RULES
from .scope import check_request, item_statuses
from .survey import Survey
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
    joint_rng, overhang_rng, *layer_rngs = rng.spawn(2 + len(system.layer))
    draws = draw(roof.joint, rng=joint_rng)
    statuses = item_statuses(system, request.scope)
    survey = Survey(
        roof=roof,
        system=system,
        request=request,
        planes=planes,
        draws=draws,
        overhang_share=uniform_share(0.0, 1.0, rng=overhang_rng, n=len(draws.values)),
        statuses=statuses,
    )
    lines: list[TakeoffLine] = []
    for layer, layer_rng in zip(system.layer, layer_rngs, strict=True):
        if layer.deck is not None and layer.deck != request.site.deck:
            continue
        found = RULES[layer.measure](layer, survey, layer_rng)
        if found is not None:
            lines.append(take_line(layer, found, survey, status=statuses.get(layer.item), rng=layer_rng))
    return Takeoff(
        system=system.name,
        lines=tuple(lines),
        classes=area_classes(survey),
        notices=take_notices(survey, lines),
    )
