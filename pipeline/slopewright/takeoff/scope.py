"""Whose a line is: the request checked against the roof and the system, and the status of each item."""

from __future__ import annotations

from ..errors import InputError
from ..roof import Roof, Scope, TakeoffRequest
from .system import System

JOB = "job.toml"
LISTS = {  # field of Scope: status it gives
    "in_scope": "in_scope",
    "retained": "retained",
    "by_others": "by_others",
    "excluded": "excluded",
    "code_items": "code_item",
}
ORDERED = ("in_scope", "code_item", "check")  # nothing is ordered for the others
MAX_LAYERS = 5  # more is a slip of the keyboard
MAX_COUNT = 10_000
MAX_OVERHANG_M = 3.0


def check_request(roof: Roof, system: System, request: TakeoffRequest) -> None:
    """Refuse a request that the roof or the system does not understand.

    Raises
    ------
    InputError
        Naming job.toml, the field, what was found and the names that are valid.
    """
    site = request.site
    if not 0 < request.assurance < 1:
        raise InputError(f"assurance: got {request.assurance:g}, need a number between 0 and 1, such as 0.95")
    for field, layers in (("shingle_layers", site.shingle_layers), ("felt_layers", site.felt_layers)):
        if not 0 <= layers <= MAX_LAYERS:
            raise InputError(f"{JOB}: [site] {field}: got {layers}, need 0 to {MAX_LAYERS}")
    if site.deck not in ("solid", "spaced"):
        raise InputError(f"{JOB}: [site] deck: got {site.deck!r}, need 'solid' or 'spaced'")
    _check_kind(system, request)
    if site.storeys is not None and not 1 <= site.storeys <= 10:
        raise InputError(f"{JOB}: [site] storeys: got {site.storeys}, need 1 to 10")
    if site.overhang_m is not None and not 0 <= site.overhang_m <= MAX_OVERHANG_M:
        raise InputError(
            f"{JOB}: [site] overhang_m: got {site.overhang_m:g} m, need 0 to {MAX_OVERHANG_M:g} m"
        )
    for name, count in request.counts.items():
        if name not in system.counts:
            raise InputError(f"{JOB}: [counts] {name}: unknown count, need one of {', '.join(system.counts)}")
        if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= MAX_COUNT:
            raise InputError(f"{JOB}: [counts] {name}: got {count!r}, need a whole number from 0")
    if request.scope.planes is not None:
        known = [plane.id for plane in roof.planes]
        if not request.scope.planes:
            raise InputError(
                f"{JOB}: [scope] planes: got none, need some of {', '.join(known)}, or no such line"
            )
        for plane in request.scope.planes:
            if plane not in known:
                raise InputError(
                    f"{JOB}: [scope] planes: unknown plane {plane!r}, need some of {', '.join(known)}"
                )
    item_statuses(system, request.scope)


def _check_kind(system: System, request: TakeoffRequest) -> None:
    """Refuse a system that is not made for such a roof."""
    site = request.site
    if system.for_deck not in (None, site.deck):
        raise InputError(
            f"{JOB}: [site] deck: got {site.deck!r}, need {system.for_deck!r} for system {system.name}"
            f" ({system.title}), or another [system] name"
        )
    if not system.recover:
        return
    most = system.recover_refused_from_layers - 1
    if not 1 <= site.shingle_layers <= most:
        raise InputError(
            f"{JOB}: [site] shingle_layers: got {site.shingle_layers}, need 1 to {most} to roof over them"
            f" with {system.name} ({system.recover_source}); take a [system] that tears off"
        )


def item_statuses(system: System, scope: Scope) -> dict[str, str]:
    """Status of the items that the scope names, by the item's name as in the system's file.

    Raises
    ------
    InputError
        For an item that the system does not have, or that two lists claim.
    """
    names = {item.casefold(): item for item in system.items}
    claimed: dict[str, str] = {}
    for field, status in LISTS.items():
        for given in getattr(scope, field):
            item = names.get(given.strip().casefold())
            if item is None:
                raise InputError(
                    f"{JOB}: [scope] {field}: unknown item {given!r}, need one of {'; '.join(system.items)}"
                )
            if claimed.get(item, status) != status:
                raise InputError(
                    f"{JOB}: [scope] {field}: item {given!r} is also listed as {claimed[item]}, need one list"
                )
            claimed[item] = status
    return claimed
