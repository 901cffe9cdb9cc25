"""One small function a measure: from a layer of the system and the survey to a quantity.

To add a measure: a layer class in `layers.py`, a function here, one entry in `RULES`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..measurement import Measurement
from ..roof import Edge, Plane
from ..scene import Array
from ..units import FOOT_M, INCH_M, SQUARE_M2, feet_and_inches
from .bands import plane_bands, steep_rule
from .draws import uniform_share
from .layers import (
    AreaLayer,
    CountLayer,
    CoursesLayer,
    EaveBandLayer,
    EdgesLayer,
    FeetLayer,
    NailsLayer,
    PerimeterLayer,
    VentilationLayer,
)
from .laying import OPENINGS, POLICY_RULES, Policy, RoofCourses, field_need
from .strips import straight_runs, whole
from .survey import Found, Survey, about_value, rise, straddlers

ROUNDING = 1e-9  # an opening of just the limit is taken off
MIN_SLOPE_SIN = 0.05  # flatter than this (0.6 in 12) an edge has no fall line worth counting courses along
COUNTS = "job.toml [counts]"


def area(layer: AreaLayer, survey: Survey, rng: np.random.Generator) -> Found | None:
    """Area of the planes within the layer's range of pitch, times layers, in squares or per square."""
    planes = [plane for plane in survey.planes if layer.covers(rise(plane))]
    times = _times(layer, survey)
    if not planes or times == 0:
        return None
    note = "" if layer.times == "once" else f"Layers counted: {times}."
    weights = {f"area:{plane.id}": times / SQUARE_M2 * (layer.per_square or 1.0) for plane in planes}
    net, draws = survey.linear(weights)
    net, draws, taken_off = _less_openings(layer, survey, planes, net, draws, times)
    note += taken_off
    if layer.gives_way_to is not None:
        net, draws, gave_way = _given_way(layer.gives_way_to, survey, planes, net, draws)
        note += gave_way
    if layer.per_square_range is not None:
        low, high = layer.per_square_range
        draws = draws * uniform_share(low, high, rng=rng, n=len(draws))
        net = about_value(net.value * (low + high) / 2, draws)
    note += _straddling(survey, layer.rise_from, layer.rise_above, layer.rise_below)
    used = None
    if layer.beyond_in:
        used = draws + _beyond(layer, survey, planes)
    between = None
    if layer.laid and survey.system.laying is not None:
        pattern = survey.system.pattern(survey.system.laying)
        need = field_need(survey.roof, planes, pattern, survey.draws, rng=rng)
        between = need.fewest_m2 / SQUARE_M2, need.most_m2 / SQUARE_M2
        note += _laid(need.courses, survey.system.laying.rule_of_thumb)
    return Found(net=net, draws=draws, used=used, between=between, origin=_ids(planes), note=note)


def edges(layer: EdgesLayer, survey: Survey, rng: np.random.Generator) -> Found | None:
    """Length of the layer's edges, with the straight runs that strips are cut for."""
    cut = layer.package is not None and layer.package.stock_ft is not None
    along = survey.edges(layer.edges)
    shared = survey.untouched(along)
    found = _along(shared if layer.tie_in else along, survey, cut=cut)
    if found is None or layer.tie_in or not shared:
        return found
    return replace(
        found, note=f"Shared with an untouched plane and counted whole: {', '.join(_ids(shared))}."
    )


def courses(layer: CoursesLayer, survey: Survey, rng: np.random.Generator) -> Found | None:
    """Pieces along edges up the slope: one a course, so the fall along the slope over the exposure."""
    exposure_m = survey.system.shingle.exposure_in * INCH_M
    found = survey.edges(layer.edges)
    if not found:
        return None
    share = {edge.id: _fall_share(edge, survey) / exposure_m for edge in found}
    net, draws = survey.linear({f"length:{edge.id}": share[edge.id] for edge in found})
    used = np.zeros(survey.n_draws)
    for run in straight_runs(survey.roof, found):
        used += whole(survey.draws.combine({f"length:{edge.id}": share[edge.id] for edge in run}))
    note = (
        f"Exposure {survey.system.shingle.exposure_in:g} in; each straight run rounded up to a whole course."
    )
    return Found(net=net, draws=draws, used=used, origin=_ids(found), note=note)


def feet(layer: FeetLayer, survey: Survey, rng: np.random.Generator) -> Found | None:
    """Lower ends of edges that are not the upper end of another one of the same plane."""
    found = survey.edges(layer.edges)
    z = survey.roof.vertices[:, 2]
    ends = [
        (min(e.start, e.end, key=lambda v: z[v]), max(e.start, e.end, key=lambda v: z[v]), e) for e in found
    ]
    tops = {(top, name) for _, top, edge in ends for name in edge.planes}
    at_foot = [edge for foot, _, edge in ends if all((foot, name) not in tops for name in edge.planes)]
    if not at_foot:
        return None
    net, draws = survey.constant(float(len(at_foot)))
    return Found(net=net, draws=draws, origin=_ids(at_foot))


def eave_band(layer: EaveBandLayer, survey: Survey, rng: np.random.Generator) -> Found | None:
    """Whole courses from each eave to the line inside the wall, or to the edition's width on steep roofs."""
    site = survey.request.site
    bands = plane_bands(layer, survey, survey.planes)
    if site.ice_barrier is False or not bands:
        return None
    net = np.sum([band.net_draws_m2 for band in bands], axis=0) / SQUARE_M2
    counted: dict[int, list[str]] = {}
    for band in bands:
        counted.setdefault(band.courses, []).append(band.plane.id)
    steep = steep_rule(layer, survey.system.edition)
    low, high = layer.overhang_range_in
    note = "; ".join(f"{k} courses on {', '.join(ids)}" for k, ids in sorted(counted.items()))
    note += f"; {survey.system.edition}: "
    note += (
        f"{steep.rise_from:g}:12 and steeper at least {steep.width_in:g} in"
        if steep
        else "no rule for steep slopes"
    )
    note += (
        f"; overhang not given, taken between {low:g} and {high:g} in."
        if site.overhang_m is None
        else f"; overhang {feet_and_inches(site.overhang_m)}."
    )
    note += _straddling(survey, steep.rise_from if steep else None)
    return Found(
        net=about_value(sum(band.net_m2 for band in bands) / SQUARE_M2, net),
        draws=net,
        used=np.sum([band.used_m2 for band in bands], axis=0) / SQUARE_M2,
        origin=_ids([eave for band in bands for eave in band.eaves]),
        note=note,
        status="check" if site.ice_barrier is None else None,
    )


def count(layer: CountLayer, survey: Survey, rng: np.random.Generator) -> Found | None:
    """What was counted on site, else what was detected, else a question."""
    given = survey.request.counts.get(layer.count)
    if given is not None:
        if given == 0 and not layer.ask:
            return None
        net, draws = survey.constant(float(given))
        return Found(net=net, draws=draws, origin=(COUNTS,), note="Counted on site.")
    ids = {plane.id for plane in survey.planes}
    seen = [
        thing
        for thing in survey.roof.objects
        if thing.kind in layer.objects
        and thing.plane in ids
        and max(thing.size) > layer.wider_than_in * INCH_M
    ]
    if not seen and not layer.ask:
        return None
    net, draws = survey.constant(float(len(seen)))
    note = f"{'Detected' if seen else 'None seen'}, not counted on site: give {layer.count} in {COUNTS}."
    return Found(net=net, draws=draws, origin=tuple(o.id for o in seen), note=note, status="check")


def nails(layer: NailsLayer, survey: Survey, rng: np.random.Generator) -> Found | None:
    """Nails a piece times pieces a square, more of them above the shingle's steep limit."""
    shingle = survey.system.shingle
    planes = [plane for plane in survey.planes if rise(plane) >= shingle.lowest_rise]
    if not planes:
        return None
    per_m2 = shingle.pieces_per_square / SQUARE_M2 / (layer.nails_per_lb or 1.0)
    each = {p.id: shingle.steep_nails if rise(p) > shingle.steep_above else shingle.nails for p in planes}
    net, draws = survey.linear({f"area:{name}": per_m2 * k for name, k in each.items()})
    note = "; ".join(
        f"{k} nails a piece, {k * shingle.pieces_per_square:.0f} a square,"
        f" on {', '.join(name for name in each if each[name] == k)}"
        for k in sorted(set(each.values()))
    )
    return Found(
        net=net, draws=draws, origin=_ids(planes), note=f"{note}.{_straddling(survey, shingle.steep_above)}"
    )


def ventilation(layer: VentilationLayer, survey: Survey, rng: np.random.Generator) -> Found | None:
    """Vents that the plan area of the whole roof asks for by the general share; the balanced one in words."""
    planes = survey.roof.planes
    m2_to_in2 = 144 / FOOT_M**2
    weights = {f"plan_area:{plane.id}": layer.share * m2_to_in2 / layer.net_free_in2 for plane in planes}
    net, draws = survey.linear(weights)
    general_in2 = net.value * layer.net_free_in2
    balanced_in2 = general_in2 * layer.balanced_share / layer.share
    note = (
        f"Plan area {general_in2 / layer.share / 144:,.0f} ft² asks for {general_in2:,.0f} in² net free at"
        f" 1/{1 / layer.share:.0f}, or {balanced_in2:,.0f} in² at 1/{1 / layer.balanced_share:.0f} where"
        f" balanced; figured with vents of {layer.net_free_in2:g} in²"
    )
    given = survey.request.counts.get(layer.count)
    note += (
        "; not counted on site."
        if given is None
        else (f"; counted on site: {given}, {given * layer.net_free_in2:,.0f} in².")
    )
    return Found(net=net, draws=draws, origin=_ids(planes), note=note)


def perimeter(layer: PerimeterLayer, survey: Survey, rng: np.random.Generator) -> Found | None:
    """Edges of planes whose eave may be as high as the rule's limit, or whose height was not seen."""
    high, unseen = [], False
    for edge in survey.edges(layer.edges):
        height = survey.plane_of(edge).eave_height
        unseen |= height is None
        if height is None or height.high >= layer.height_ft * FOOT_M:
            high.append(edge)
    found = _along(high, survey, cut=False)
    if found is None:
        return None
    steep = [plane.id for plane in survey.planes if rise(plane) > layer.steep_above]
    note = f"Steep (over {layer.steep_above:g} in 12): {', '.join(steep)}." if steep else "No plane is steep."
    if unseen:
        note += " The height of some eaves was not seen; they are counted."
    return Found(net=found.net, draws=found.draws, origin=found.origin, note=note)


Rule = Callable[[Any, Survey, np.random.Generator], Found | None]
RULES: dict[str, Rule] = {
    "area": area,
    "edges": edges,
    "courses": courses,
    "feet": feet,
    "eave_band": eave_band,
    "count": count,
    "nails": nails,
    "ventilation": ventilation,
    "perimeter": perimeter,
}


def _along(found: Sequence[Edge], survey: Survey, *, cut: bool) -> Found | None:
    """Length in feet of edges, and their straight runs where strips are cut for them."""
    if not found:
        return None
    net, draws = survey.linear({f"length:{edge.id}": 1 / FOOT_M for edge in found})
    runs = tuple(
        survey.draws.combine({f"length:{edge.id}": 1.0 for edge in run})
        for run in (straight_runs(survey.roof, found) if cut else ())
    )
    return Found(net=net, draws=draws, runs_m=runs, origin=_ids(found))


def _less_openings(
    layer: AreaLayer, survey: Survey, planes: Sequence[Plane], net: Measurement, draws: Array, times: int
) -> tuple[Measurement, Array, str]:
    """An area less the chimneys and skylights that are large enough to be taken off it."""
    if layer.openings_off_from_ft2 is None:
        return net, draws, ""
    least_m2 = layer.openings_off_from_ft2 * FOOT_M**2 * (1 - ROUNDING)
    ids = {plane.id for plane in planes}
    found = [
        thing
        for thing in survey.roof.objects
        if thing.plane in ids and thing.kind in OPENINGS and thing.size[0] * thing.size[1] >= least_m2
    ]
    if not found:
        return net, draws, ""
    off_m2 = sum(thing.size[0] * thing.size[1] for thing in found)
    off = off_m2 / SQUARE_M2 * times * (layer.per_square or 1.0)
    left = Measurement(max(net.value - off, 0.0), net.u, max(net.low - off, 0.0), max(net.high - off, 0.0))
    names = ", ".join(thing.id for thing in found)
    return left, np.maximum(draws - off, 0.0), f" Less openings of {off_m2 / FOOT_M**2:.0f} ft² ({names})."


def _given_way(
    item: str, survey: Survey, planes: Sequence[Plane], net: Measurement, draws: Array
) -> tuple[Measurement, Array, str]:
    """An area less the band along eaves that is laid in its place, where that is decided on."""
    if survey.request.site.ice_barrier is not True or survey.statuses.get(item) == "excluded":
        return net, draws, ""
    bands = plane_bands(survey.system.band(item), survey, planes)
    if not bands:
        return net, draws, ""
    left = np.maximum(draws - np.sum([band.net_draws_m2 for band in bands], axis=0) / SQUARE_M2, 0.0)
    value = max(net.value - sum(band.net_m2 for band in bands) / SQUARE_M2, 0.0)
    return about_value(value, left), left, f"Less the {item}, which lies in its place."


def _beyond(layer: AreaLayer, survey: Survey, planes: Sequence[Plane]) -> Array:
    """Draws of what goes past the planes' edges, over ridges and up walls, in squares."""
    weights: dict[str, float] = {}
    for edge in survey.roof.edges:
        sides = sum(plane.id in edge.planes for plane in planes)
        if sides and edge.kind in layer.beyond_in:
            weights[f"length:{edge.id}"] = sides * layer.beyond_in[edge.kind] * INCH_M / SQUARE_M2
    return survey.draws.combine(weights) if weights else np.zeros(survey.n_draws)


def _laid(courses: RoofCourses, rule_of_thumb: tuple[float, float]) -> str:
    """Sentence on the layout that the waste comes from."""
    told = ", ".join(
        f"{courses.waste_m2(policy) / courses.area_m2:.1%} where {POLICY_RULES[policy]}"
        f" ({courses.modules(policy)} modules)"
        for policy in (Policy.POOLED, Policy.NONE)
    )
    low, high = rule_of_thumb
    pieces, cut = (sum(getattr(plane, name) for plane in courses.planes) for name in ("n_pieces", "n_cut"))
    return (
        f" Waste by laying the courses, {pieces} pieces of which {cut} cut: {told};"
        f" the rule of thumb, not used, says {low:.0%} to {high:.0%}."
    )


def _straddling(survey: Survey, *limits: float | None) -> str:
    """Sentence on planes that may be on the other side of a limit that the line hangs on."""
    found = [(limit, straddlers(survey.planes, limit)) for limit in limits if limit is not None]
    return "".join(
        f" The pitch bound of {', '.join(ids)} straddles {limit:g}:12, the best value decides: check."
        for limit, ids in found
        if ids
    )


def _times(layer: AreaLayer, survey: Survey) -> int:
    shingles = survey.request.site.shingle_layers
    return {
        "once": 1,
        "shingle_layers": shingles,
        "first_shingle_layer": min(shingles, 1),
        "further_shingle_layers": max(shingles - 1, 0),
        "felt_layers": survey.request.site.felt_layers,
    }[layer.times]


def _fall_share(edge: Edge, survey: Survey) -> float:
    """Share of the edge's length that lies along the fall line of its plane."""
    along = survey.roof.vertices[edge.end] - survey.roof.vertices[edge.start]
    normal = survey.plane_of(edge).normal
    sine, length = float(np.hypot(normal[0], normal[1])), float(np.linalg.norm(along))
    if sine < MIN_SLOPE_SIN or length == 0:
        return 1.0
    uphill = np.array([-normal[0] * normal[2], -normal[1] * normal[2], sine**2]) / sine
    return min(abs(float(along @ uphill)) / length, 1.0)


def _ids(things: Sequence[Plane | Edge]) -> tuple[str, ...]:
    return tuple(thing.id for thing in things)
