"""Tape measurements against the roof: who agrees, who does not, and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..checks import AGREE, CANNOT_TELL, CONFLICT, TapeCheck, TapeReading, TapeResult
from ..measurement import Measurement
from ..roof import Roof
from ..scene import Array
from ..state import Edit, FixLength
from .blunders import likely_causes
from .verdict import judge

HELD = "the roof was adjusted to this reading before, so that they agree in any case"
SAME_M = 1e-5  # files round to a micrometre
POINT_SHARE = 0.5  # of the spacing of points: what was meant lies between them


def corner_pairs(roof: Roof, readings: Sequence[TapeReading]) -> list[tuple[Array, Array]]:
    """Corners whose distances, with one covariance, `check_tape` needs: of every edge, then the others."""
    ends = [(edge.start, edge.end) for edge in roof.edges]
    ends += [reading.corners for reading in readings if reading.corners is not None]
    return [(roof.vertices[a], roof.vertices[b]) for a, b in ends]


def check_tape(
    roof: Roof,
    readings: Sequence[TapeReading],
    *,
    apart: tuple[Array, Array] | None = None,
    scale_u: float = 0.0,
    overhang_m: float | None = None,
) -> TapeCheck:
    """Test readings against a roof.

    Parameters
    ----------
    roof : Roof
    readings : sequence of TapeReading
        One or more.
    apart : (values, covariance), optional
        Distances [m] of `corner_pairs`; needed where a reading is between corners.
    scale_u : float
        Relative standard uncertainty of the scale, for readings between points of the cloud.
    overhang_m : float, optional
        Of the eaves, where the job says it.
    """
    model_m, covariance = _lengths(roof, readings, apart, scale_u)
    taped_m = np.array([reading.length_m for reading in readings])
    u_m = np.array([reading.u_m for reading in readings])
    found = judge(taped_m, u_m, model_m, covariance)
    results = []
    for i, reading in enumerate(readings):
        model = Measurement.normal(float(model_m[i]), math.sqrt(max(float(covariance[i, i]), 0.0)), floor=0.0)
        common = found.scale if found.scale_conflict and found.reasons[i] else None
        conflict = found.verdicts[i] == CONFLICT
        results.append(
            TapeResult(
                reading=reading,
                model=model,
                e_n=float(found.e_n[i]),
                verdict=found.verdicts[i],
                reason=found.reasons[i],
                causes=likely_causes(reading, model, roof, overhang_m=overhang_m, scale=common)
                if conflict
                else (),
            )
        )
    return TapeCheck(
        results=tuple(results), limit=found.limit, scale=found.scale, scale_conflict=found.scale_conflict
    )


def edits_of(check: TapeCheck) -> tuple[FixLength, ...]:
    """The readings that a roof may be adjusted to: of one edge, in agreement, the scale not in doubt."""
    if check.scale_conflict:
        return ()
    return tuple(
        FixLength(edge=one.reading.edges[0], length_m=one.reading.length_m, u_m=one.reading.u_m)
        for one in check.results
        if _adjustable(one)
    )


def mark_used(check: TapeCheck, edits: Sequence[FixLength]) -> TapeCheck:
    """The check with the readings marked that became edits."""
    results = tuple(replace(one, used=one.used or bool(_as_edits(one) & set(edits))) for one in check.results)
    return replace(check, results=results)


def mark_held(check: TapeCheck, journal: Sequence[Edit]) -> TapeCheck:
    """The check with those readings told apart that the roof was adjusted to before."""
    held = [edit for edit in journal if isinstance(edit, FixLength)]

    def told_before(reading: TapeReading) -> bool:
        return any(
            reading.edges == (edit.edge,) and abs(reading.length_m - edit.length_m) < SAME_M for edit in held
        )

    results = tuple(
        replace(one, verdict=CANNOT_TELL, reason=HELD, causes=(), used=True)
        if told_before(one.reading)
        else one
        for one in check.results
    )
    return replace(check, results=results)


def _as_edits(result: TapeResult) -> set[Edit]:
    reading = result.reading
    if len(reading.edges) != 1:
        return set()
    return {FixLength(edge=reading.edges[0], length_m=reading.length_m, u_m=reading.u_m)}


def _adjustable(result: TapeResult) -> bool:
    return result.verdict == AGREE and len(result.reading.edges) == 1


def _lengths(
    roof: Roof, readings: Sequence[TapeReading], apart: tuple[Array, Array] | None, scale_u: float
) -> tuple[Array, Array]:
    """What the roof says of each reading, with one covariance."""
    names = [f"length:{edge.id}" for edge in roof.edges]
    rows = [roof.joint.names.index(name) for name in names]
    values, covariance = roof.joint.values[rows], roof.joint.covariance[np.ix_(rows, rows)]
    if apart is not None:
        values, covariance = apart
    weights = np.zeros((len(readings), len(values)))
    model_m, own = np.zeros(len(readings)), np.zeros(len(readings))
    column = len(names)
    for i, reading in enumerate(readings):
        for name in reading.edges:
            weights[i, names.index(f"length:{name}")] = 1.0
        if reading.corners is not None:
            weights[i, column] = 1.0
            column += 1
        if reading.ends is not None:
            model_m[i] = math.dist(*reading.ends)
            own[i] = 2 * point_u_m(roof) ** 2 + (scale_u * model_m[i]) ** 2
    model_m = model_m + weights @ values
    return model_m, np.asarray(weights @ covariance @ weights.T + np.diag(own))


def point_u_m(roof: Roof) -> float:
    """Standard uncertainty of a point that somebody picked from the cloud, along any line [m]."""
    spacing = [math.sqrt(plane.area.value / plane.n_points) for plane in roof.planes if plane.n_points > 0]
    noise = [plane.residual_rms_m for plane in roof.planes]
    between = float(np.median(spacing)) if spacing else 0.0
    return math.hypot(float(np.median(noise)), POINT_SHARE * between)
