"""Edits of a roof: each makes the next state, and the roof is measured from it again."""

from __future__ import annotations

from dataclasses import replace
from typing import assert_never

import numpy as np
import shapely

from ..errors import InputError
from ..roof import Roof, RoofObject
from ..scene import EdgeKind
from ..state import (
    Agreement,
    Edit,
    ExcludePlane,
    FixLength,
    FixPitch,
    Frame,
    IncludePlane,
    MergePlanes,
    MoveBoundary,
    Observation,
    Observed,
    PlaceBoundary,
    RoofState,
    SetKind,
    SplitPlane,
)
from .measure import Solution, expected, roof_of, solve
from .merge import merge
from .move import boundary_of, force, move
from .net import lapsed
from .observed import Observations, agreement, check_observed
from .split import split

FAR_M = 10.0  # a boundary is not moved further: a slip of the unit or the hand
OF_TWO = frozenset({EdgeKind.RIDGE, EdgeKind.HIP, EdgeKind.VALLEY, EdgeKind.PITCH_BREAK, EdgeKind.UNKNOWN})
OF_ONE = frozenset(EdgeKind) - OF_TWO | {EdgeKind.UNKNOWN}


def apply(roof: Roof, edit: Edit) -> Roof:
    """The roof after an edit, adjusted and bounded again.

    Parameters
    ----------
    roof : Roof
        With its state.
    edit : Edit

    Returns
    -------
    Roof
        Its state's journal ends with the edit.  An observation in conflict with the roof is not used
        unless forced; `state.agreements` and a notice say so.

    Raises
    ------
    InputError
        If the edit names what the roof has not, or leaves no possible roof.
    """
    return replay(roof, (edit,))


def undo(roof: Roof) -> Roof:
    """The roof before its last edit, to the last bit.

    Raises
    ------
    InputError
        If there is none.
    """
    state = _state_of(roof)
    if state.measured is None:
        raise InputError("journal: no edit in it, nothing to undo")
    return replay(replace(roof, state=state.measured), state.journal[:-1])


def replay(roof: Roof, edits: tuple[Edit, ...]) -> Roof:
    """The roof after several edits.

    Raises
    ------
    InputError
        As `apply`.
    """
    state = _state_of(roof)
    solution = solve(state)
    for edit in edits:
        state = _next(state, edit, solution)
        solution = solve(state)
        _check(state, solution, edit)
    edited = roof_of(state, solution, roof.frame)
    return replace(edited, objects=tuple(_on_its_plane(thing, edited) for thing in roof.objects))


def agreement_of(roof: Roof, edit: Observed) -> Agreement:
    """How an observation stands to a roof, which stays as it is.

    Raises
    ------
    InputError
        If the observation names what the roof has not, or is none.
    """
    state = _state_of(roof)
    _check_names(state, edit)
    return _agreement(state, edit, solve(state))


def measured(state: RoofState, frame: Frame) -> Roof:
    """The roof of a state."""
    return roof_of(state, solve(state), frame)


def _state_of(roof: Roof) -> RoofState:
    if roof.state is None:
        raise InputError("roof: its state is missing, need one that was measured here (state.json)")
    return roof.state


def _next(state: RoofState, edit: Edit, solution: Solution) -> RoofState:
    _check_names(state, edit)
    after = _changed(state, edit, solution)
    if isinstance(edit, PlaceBoundary | MoveBoundary | MergePlanes | SplitPlane):
        after = _still_holding(after)
    measured = state if state.measured is None else state.measured
    return replace(after, journal=(*state.journal, edit), measured=measured)


def _changed(state: RoofState, edit: Edit, solution: Solution) -> RoofState:
    match edit:
        case FixPitch() | FixLength() | PlaceBoundary():
            return _observe(state, edit, solution)
        case MoveBoundary():
            return move(state, edit, solution)
        case MergePlanes():
            return merge(state, edit)
        case SplitPlane():
            return split(state, edit, solution)
        case SetKind():
            return _set_kind(state, edit)
        case ExcludePlane():
            return replace(state, excluded=state.excluded | {edit.plane})
        case IncludePlane():
            return replace(state, excluded=state.excluded - {edit.plane})
        case _:
            assert_never(edit)


def _observe(state: RoofState, edit: Observed, solution: Solution) -> RoofState:
    found = _agreement(state, edit, solution)
    state = replace(state, agreements=(*state.agreements, found))
    if not found.used:
        return state
    if isinstance(edit, PlaceBoundary) and not found.agrees:
        return force(state, edit, solution)
    name = edit.plane if isinstance(edit, FixPitch) else edit.edge
    return replace(state, observations=(*state.observations, Observation(of=(name,), made=edit)))


def _still_holding(state: RoofState) -> RoofState:
    """Without the observations that a changed roof contradicts: the later edit has the last word."""
    for observation in state.observations:
        others = tuple(o for o in state.observations if o is not observation)
        without = replace(state, observations=others)
        seen = Observations(state, (observation,))
        value, u = expected(solve(without), seen)
        found = agreement(float(seen.value[0]), float(seen.u[0]), value, u, forced=observation.made.forced)
        if not found.used:
            state = replace(without, remarks=(*state.remarks, lapsed(observation)))
    return state


def _agreement(state: RoofState, edit: Observed, solution: Solution) -> Agreement:
    name = edit.plane if isinstance(edit, FixPitch) else edit.edge
    seen = Observations(state, (Observation(of=(name,), made=edit),))
    value, u = expected(solution, seen)
    return agreement(float(seen.value[0]), float(seen.u[0]), value, u, forced=edit.forced)


def _set_kind(state: RoofState, edit: SetKind) -> RoofState:
    n = state.edge_ids.index(edit.edge)
    edges = list(state.topology.edges)
    allowed = OF_ONE if len(edges[n].planes) == 1 and edges[n].curve.planes is None else OF_TWO
    if edit.kind not in allowed:
        raise InputError(
            f"edge {edit.edge}: kind {edit.kind}, need one of {', '.join(sorted(allowed))} where"
            f" {'one plane ends' if allowed is OF_ONE else 'two planes meet'}"
        )
    edges[n] = replace(edges[n], kind=edit.kind)
    return replace(state, topology=replace(state.topology, edges=tuple(edges)))


def _check_names(state: RoofState, edit: Edit) -> None:
    for field in ("plane", "first", "second"):
        name = getattr(edit, field, None)
        if name is not None and name not in state.plane_ids:
            raise InputError(
                f"plane {name}: not of this roof, need one of {', '.join(sorted(state.plane_ids))}"
            )
    name = getattr(edit, "edge", None)
    if name is not None and name not in state.edge_ids:
        raise InputError(f"edge {name}: not of this roof, which has e1 to e{state.next_edge - 1}")
    match edit:
        case FixPitch():
            check_observed(edit.pitch_rad, 0.0, np.pi / 2, edit.u_rad, f"pitch of {edit.plane} [rad]")
        case FixLength():
            check_observed(edit.length_m, 0.0, 1e3, edit.u_m, f"length of {edit.edge} [m]")
        case PlaceBoundary():
            check_observed(float(np.hypot(*edit.xy)), -1.0, 1e6, edit.u_m, f"spot on {edit.edge} [m]")
            boundary_of(state, edit.edge)
        case MoveBoundary():
            if not abs(edit.by_m) < FAR_M:
                raise InputError(f"edge {edit.edge}: moved by {edit.by_m:g} m, need less than {FAR_M:g}")
        case MergePlanes() if edit.first == edit.second:
            raise InputError(f"plane {edit.first}: to be merged with itself, need two")
        case IncludePlane() if edit.plane not in state.excluded:
            raise InputError(f"plane {edit.plane}: is counted already, nothing to include")
        case ExcludePlane() if len(state.excluded | {edit.plane}) == len(state.plane_ids):
            raise InputError(f"plane {edit.plane}: is the last one that is counted, nothing would be left")
        case _:
            pass


def _check(state: RoofState, solution: Solution, edit: Edit) -> None:
    area = solution.each("plan_area")
    if not (area > 0).all():
        name = state.plane_ids[int(np.argmin(area))]
        raise InputError(f"{type(edit).__name__}: it turns plane {name} inside out, need a smaller change")


def _on_its_plane(thing: RoofObject, roof: Roof) -> RoofObject:
    """An object with the id of the plane that it stands on now."""
    for plane in roof.planes:
        outline = shapely.Polygon(roof.ring(plane.loops[0])[:, :2])
        if shapely.contains_xy(outline, *thing.position[:2]):
            return replace(thing, plane=plane.id)
    return thing
