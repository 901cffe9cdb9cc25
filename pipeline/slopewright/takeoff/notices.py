"""What a reader must know beside the lines."""

from __future__ import annotations

from collections.abc import Sequence

from ..roof import TakeoffLine
from ..scene import EdgeKind, Notice
from .classes import straddling
from .layers import CountLayer, EaveBandLayer, VentilationLayer
from .order import ROUNDING_RULE
from .survey import Survey, rise

AT_UNTOUCHED = {  # what work at an edge does to the plane beyond it
    EdgeKind.RIDGE: "caps lie over both sides and are taken off and laid anew whole",
    EdgeKind.HIP: "caps lie over both sides and are taken off and laid anew whole",
    EdgeKind.VALLEY: "lining is counted whole; the untouched side's shingles are lifted and cut in again",
    EdgeKind.PITCH_BREAK: "the upper side's courses lap over the lower side's: lifted and tied in",
}


def take_notices(survey: Survey, lines: Sequence[TakeoffLine]) -> tuple[Notice, ...]:
    """Say what the lines leave open.

    Parameters
    ----------
    survey : Survey
    lines : sequence of TakeoffLine
        Of the takeoff.
    """
    notices = [
        Notice(
            code="no_coverage_decision",
            text="quantities and status are listed as asked; nothing here decides what a policy covers",
        ),
        Notice(code="order_rule", text=ROUNDING_RULE),
        *_code_items(survey, lines),
        *_low(survey),
        *straddling(survey),
        *_untouched(survey),
        *_unknown_edges(survey),
        *_ice_barrier(survey),
        *_layers(survey),
        *_not_said(survey),
    ]
    return tuple(notices)


def _code_items(survey: Survey, lines: Sequence[TakeoffLine]) -> list[Notice]:
    """The group of lines that only a code demands, each with its section."""
    section = {layer.item: layer.code for layer in survey.system.layer}
    named = [
        f"{line.item} ({section[line.item] or 'the system names no section: ask for it'})"
        for line in lines
        if line.status == "code_item"
    ]
    return [Notice(code="code_items", text=f"owed to a code alone: {'; '.join(named)}")] if named else []


def _low(survey: Survey) -> list[Notice]:
    shingle = survey.system.shingle
    low = tuple(p.id for p in survey.planes if rise(p) < shingle.lowest_rise)
    if not low:
        return []
    text = f"below {shingle.lowest_rise:g}:12 these shingles are not allowed on {', '.join(low)}"
    return [Notice(code="too_low_for_shingles", text=f"{text} ({shingle.source})", about=low)]


def _untouched(survey: Survey) -> list[Notice]:
    """Edges between a plane in scope and one that is not."""
    shared = survey.untouched(survey.roof.edges)
    if not shared:
        return []
    effects: dict[str, list[str]] = {}
    for edge in shared:
        effect = AT_UNTOUCHED.get(edge.kind, "tie-in to be agreed")
        effects.setdefault(effect, []).append(f"{edge.kind} {edge.id}")
    told = "; ".join(f"{', '.join(names)}: {effect}" for effect, names in effects.items())
    text = f"shared with a plane out of scope: {told}; counts of job.toml are taken as of the planes in scope"
    return [Notice(code="shared_with_untouched", text=text, about=tuple(edge.id for edge in shared))]


def _unknown_edges(survey: Survey) -> list[Notice]:
    unknown = tuple(edge.id for edge in survey.edges([EdgeKind.UNKNOWN]))
    text = f"edges of unknown kind are in no line: {', '.join(unknown)}"
    return [Notice(code="unknown_edges", text=text, about=unknown)] if unknown else []


def _ice_barrier(survey: Survey) -> list[Notice]:
    site = survey.request.site
    if not any(isinstance(layer, EaveBandLayer) for layer in survey.system.layer):
        return []
    if site.ice_barrier is False:
        text = "no ice barrier: not used here, as job.toml [site] ice_barrier says"
        return [Notice(code="ice_barrier_not_used", text=text)]
    notices = []
    if site.ice_barrier is None:
        text = "ice barrier not decided: say yes or no in job.toml [site] ice_barrier"
        notices.append(Notice(code="ice_barrier_not_said", text=text))
    if site.overhang_m is None:
        text = "overhang not given: measure it for job.toml [site] overhang_m, the ice barrier hangs on it"
        notices.append(Notice(code="overhang_not_said", text=text))
    return notices


def _layers(survey: Survey) -> list[Notice]:
    layers, system = survey.request.site.shingle_layers, survey.system
    if layers < system.recover_refused_from_layers:
        return []
    text = f"{layers} layers: tear-off is due, none may go over them ({system.recover_source})"
    return [Notice(code="recover_refused", text=text)]


def _not_said(survey: Survey) -> list[Notice]:
    """Facts of the site that the job does not give."""
    notices = []
    if survey.request.site.storeys is None and any(p.eave_height is None for p in survey.planes):
        text = "height of some eaves not seen: give job.toml [site] storeys for the height classes"
        notices.append(Notice(code="storeys_not_known", text=text))
    asked = [
        x.count
        for x in survey.system.layer
        if (isinstance(x, CountLayer) and x.ask) or isinstance(x, VentilationLayer)
    ]
    missing = [name for name in dict.fromkeys(asked) if name not in survey.request.counts]
    if missing:
        text = f"not counted on site: {', '.join(missing)}; give them in job.toml [counts]"
        notices.append(Notice(code="not_counted", text=text))
    return notices
