"""How large a model is: from lengths that are known between marked points or printed targets.

Several are adjusted together and tested against each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from ..errors import InputError
from ..measurement import COVERAGE_95
from ..scene import Array, Notice
from .spots import Spots

CHANCE = 1e-3  # at which known lengths are said to contradict each other
MAX_U = 0.10  # standard uncertainty of a scale, relative, beyond which nothing that follows is of use


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownLength:
    """A length that somebody measured on site, between points that the photos show."""

    title: str  # for people: 'reference "staff"'
    length_m: float
    u_m: float  # standard uncertainty
    marks: tuple[str, str] | None = None  # its ends
    boards: tuple[int, ...] = ()  # or a printed target by its side, or two from centre to centre
    check_only: bool = False  # a tape measurement: compared, not used


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Metres in a unit of the model."""

    metres: float
    u: float  # standard uncertainty, relative
    source: str  # for people
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Seen:
    """Known lengths as the model has them."""

    known: tuple[KnownLength, ...]
    value: Array  # (n,) [units of the model]
    covariance: Array  # (n, n)
    photos: tuple[int, ...]  # that show both ends


def scale_of(spots: Spots, known: Sequence[KnownLength], rim: dict[int, float]) -> Scale:
    """The scale by all known lengths together.

    Parameters
    ----------
    spots : Spots
        Ends of the lengths; corners of target 7 are named by `board_corner(7, 0)` to `board_corner(7, 3)`.
    known : KnownLength, ...
    rim : dict of int to float
        For each target the standard uncertainty of its side that all corners share, relative.

    Returns
    -------
    Scale

    Raises
    ------
    InputError
        If no length can be used, they contradict each other and nobody knows which one is wrong, or the scale
        is too doubtful to be of use.

    References
    ----------
    .. [1] JCGM 100:2008, F.2.1; generalised least squares and the chi-squared test of its residuals.
    .. [2] ISO 13528:2015, 9.7 (E_n).
    """
    notices: list[Notice] = []
    seen = _seen(spots, known, rim, notices)
    told = [i for i, length in enumerate(seen.known) if not length.check_only]
    if not told:
        lost = next((n.text for n in notices if n.code == "reference_not_used"), None)
        raise InputError(f"photos: {lost}" if lost else "photos: no known length is among the references")
    used, dropped = _consistent(seen, told)
    metres, variance = _weighted(seen, used)
    u = float(np.sqrt(variance)) / metres * _birge(seen, used)
    if u > MAX_U:
        raise InputError(
            f"photos: the scale by {_titles(seen, used)} is known to {100 * u:.0f} % (standard uncertainty),"
            " need"
            f" {100 * MAX_U:.0f} % or better: mark the ends in more photos, from places further apart, or"
            " give a"
            " longer length"
        )
    for i in range(len(seen.known)):
        if i not in used:
            notices.append(_verdict(seen, i, metres, u, dropped=i in dropped))
    return Scale(
        metres=metres,
        u=u,
        source="; ".join(f"{seen.known[i].title} in {seen.photos[i]} photos" for i in used),
        notices=tuple(notices),
    )


def board_corner(number: int, corner: int) -> str:
    """Name of a target's corner among marks: one that no person gives."""
    return f"\0board {number} corner {corner}"


def _seen(spots: Spots, known: Sequence[KnownLength], rim: dict[int, float], notices: list[Notice]) -> _Seen:
    """Lengths whose ends have places; notices name the others."""
    kept, values, slopes, extra, photos = [], [], [], [], []
    for length in known:
        pairs = _pairs(length)
        names = {name for pair in pairs for end in pair for name in end}
        missing = next((name for name in sorted(names) if spots.row(name) is None), None)
        if missing is not None:
            why = spots.unplaced.get(missing) or _unseen(length, missing)
            notices.append(Notice(code="reference_not_used", text=f"{length.title}: {why}"))
            continue
        value, slope = 0.0, np.zeros(3 * len(spots.names))
        for start, end in pairs:
            rows = [[spots.names.index(name) for name in side] for side in (start, end)]
            a, b = (spots.xyz[side].mean(axis=0) for side in rows)
            distance = float(np.linalg.norm(b - a))
            if distance == 0:
                raise InputError(f"photos: {length.title}: both ends are marked at one spot")
            value += distance / len(pairs)
            for side, sign in zip(rows, (-1.0, 1.0), strict=True):
                for row in side:
                    slope[3 * row : 3 * row + 3] += sign * (b - a) / distance / len(pairs) / len(side)
        kept.append(length)
        values.append(value)
        slopes.append(slope)
        extra.append((rim.get(length.boards[0], 0.0) * value) ** 2 if len(length.boards) == 1 else 0.0)
        photos.append(min(len(spots.photos[spots.names.index(name)]) for name in names))
    by_spots = np.array(slopes).reshape(len(kept), 3 * len(spots.names))
    return _Seen(
        known=tuple(kept),
        value=np.array(values),
        covariance=by_spots @ spots.covariance @ by_spots.T + np.diag(extra),
        photos=tuple(photos),
    )


def _pairs(length: KnownLength) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Ends of a length as names, the means of which are taken; it is the mean over the pairs."""
    if length.marks is not None:
        return [((length.marks[0],), (length.marks[1],))]
    corners = [tuple(board_corner(number, k) for k in range(4)) for number in length.boards]
    if len(corners) == 2:
        return [(corners[0], corners[1])]
    (square,) = corners
    return [((square[k],), (square[(k + 1) % 4],)) for k in range(4)]


def _unseen(length: KnownLength, name: str) -> str:
    if length.boards:
        return (
            "the target was found in fewer than two photos that are used; photograph it from nearer, upright"
            " in"
            " the light, or mark the ends of a length"
        )
    return f'no mark "{name}" in marks.json, need its pixel in two or more photos'


def _weighted(seen: _Seen, used: list[int]) -> tuple[float, float]:
    """The scale by generalised least squares, and its variance.

    Lengths over their known values: that makes the scale linear, one over metres per unit.
    """
    length = np.array([seen.known[i].length_m for i in used])
    u = np.array([seen.known[i].u_m for i in used])
    ratio = seen.value[used] / length  # units of the model in a metre
    covariance = seen.covariance[np.ix_(used, used)] / np.outer(length, length) + np.diag(
        (ratio * u / length) ** 2
    )
    weight = np.linalg.solve(covariance, np.ones(len(used)))
    units = float(weight @ ratio / weight.sum())
    return 1 / units, float(1 / weight.sum()) / units**4


def _misfit(seen: _Seen, used: list[int]) -> float:
    """Chi-squared of lengths that are used together."""
    metres, _ = _weighted(seen, used)
    length = np.array([seen.known[i].length_m for i in used])
    u = np.array([seen.known[i].u_m for i in used])
    residual = metres * seen.value[used] - length
    covariance = metres**2 * seen.covariance[np.ix_(used, used)] + np.diag(u**2)
    return float(residual @ np.linalg.solve(covariance, residual))


def _consistent(seen: _Seen, told: list[int]) -> tuple[list[int], list[int]]:
    """The lengths that agree, and the one that does not."""
    limit = chdtri(np.arange(1, len(told) + 1), CHANCE)
    if len(told) == 1 or _misfit(seen, told) <= limit[len(told) - 2]:
        return told, []
    if len(told) > 2:
        without = [_misfit(seen, [j for j in told if j != i]) for i in told]
        best = int(np.argmin(without))
        others = [m for k, m in enumerate(without) if k != best]
        if without[best] <= limit[len(told) - 3] and min(others) > limit[len(told) - 3]:
            return [j for j in told if j != told[best]], [told[best]]
    metres = {i: seen.known[i].length_m / seen.value[i] for i in told}
    mean = float(np.mean(list(metres.values())))
    each = ", ".join(f"{seen.known[i].title} {100 * (metres[i] / mean - 1):+.1f} %" for i in told)
    raise InputError(
        f"photos: the known lengths contradict each other (scale by {each} of their mean): look at their"
        " marks"
        " and values, and take out the wrong one"
    )


def _birge(seen: _Seen, used: list[int]) -> float:
    """Factor on the scale's doubt where lengths agree less well than they say of themselves."""
    if len(used) < 2:
        return 1.0
    return float(np.sqrt(max(1.0, _misfit(seen, used) / (len(used) - 1))))


def _verdict(seen: _Seen, i: int, metres: float, u: float, *, dropped: bool) -> Notice:
    """How a length that was not used stands to the scale."""
    length = seen.known[i]
    found = metres * seen.value[i]
    spread = np.sqrt(length.u_m**2 + metres**2 * seen.covariance[i, i] + (found * u) ** 2)
    e_n = float((length.length_m - found) / (COVERAGE_95 * spread))
    state = f"{length.title}: stated {length.length_m:.3f} m, by the photos {found:.3f} m, E_n {e_n:+.2f}"
    if dropped:
        text = f"{state}: it contradicts the other references and was not used; look at its marks and value"
        return Notice(code="reference_contradicts", text=text)
    if abs(e_n) > 1:
        return Notice(code="tape_conflict", text=f"{state}: in conflict with the scale of the photos")
    return Notice(code="tape_agrees", text=f"{state}: agrees")


def _titles(seen: _Seen, used: list[int]) -> str:
    return " and ".join(seen.known[i].title for i in used)
