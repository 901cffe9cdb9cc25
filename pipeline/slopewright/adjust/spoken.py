"""Edits of a roof in words, for the reader of a report."""

from __future__ import annotations

import math
from typing import assert_never

from ..state import (
    Edit,
    ExcludePlane,
    FixLength,
    FixPitch,
    IncludePlane,
    MergePlanes,
    MoveBoundary,
    PlaceBoundary,
    SetKind,
    SplitPlane,
)
from ..units import feet_and_inches, rise_in_12


def in_words(edit: Edit) -> str:
    """What somebody did, in one clause."""
    match edit:
        case FixPitch():
            return (
                f"pitch of plane {edit.plane} observed as {rise_in_12(edit.pitch_rad):.2f} in 12"
                f" ({math.degrees(edit.pitch_rad):.2f}°, u {math.degrees(edit.u_rad):.2f}°)"
            )
        case FixLength():
            return f"length of edge {edit.edge} observed as {_length(edit.length_m)} (u {edit.u_m:.3f} m)"
        case PlaceBoundary():
            return (
                f"edge {edit.edge} seen to pass ({edit.xy[0]:.2f}, {edit.xy[1]:.2f}) m (u {edit.u_m:.3f} m)"
            )
        case MoveBoundary():
            way = "outward" if edit.by_m >= 0 else "inward"
            return f"edge {edit.edge} moved {way} by {_length(abs(edit.by_m))}"
        case MergePlanes():
            return f"plane {edit.second} merged into plane {edit.first}"
        case SplitPlane():
            return f"plane {edit.plane} split along a line"
        case SetKind():
            return f"edge {edit.edge} called {edit.kind}"
        case ExcludePlane():
            return f"plane {edit.plane} not counted"
        case IncludePlane():
            return f"plane {edit.plane} counted again"
        case _:
            assert_never(edit)


def named(edit: Edit) -> tuple[str, ...]:
    """The ids that an edit is about."""
    fields = ("plane", "edge", "first", "second")
    return tuple(getattr(edit, field) for field in fields if hasattr(edit, field))


def _length(length_m: float) -> str:
    return f"{feet_and_inches(length_m)} ({length_m:.3f} m)"
