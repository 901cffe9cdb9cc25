"""Another party's quantities beside ours: how far apart, within bounds or not, and what would explain it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ..checks import Cause, ComparedLine, Comparison, Theirs
from ..measurement import Measurement
from ..roof import Roof
from ..scene import Array
from .mistakes import Mistake, combined, mistakes
from .ours import Ours

OWN_SHARE = 0.01  # standard uncertainty of a quantity that somebody else took with care, common practice
OUTLIER = 0.02  # chance that a line is wrong all by itself, whatever else is
OUTLYING = 4.0  # standard deviations from which a line counts as that
BROAD = 2.0  # a line that is wrong by itself may be anything from 0 to so many times ours
EXACT_U = 0.05  # of what is counted: a half would be a different count
LEAST_ODDS = 0.02
LOOKS_ALIKE = 0.2  # of the odds of the likeliest of its kind: nobody can tell them apart
MOST_SHOWN = 6
DEFAULT_EXPOSURE_M = 5.625 * 0.0254  # of a course, where the system is not told


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """One pair of lines."""

    theirs: Theirs
    ours: Ours
    net: Measurement
    with_waste: Measurement | None


def compare(
    roof: Roof,
    theirs: Sequence[Theirs],
    ours: Mapping[str, Ours],
    *,
    left_out: Sequence[str] = (),
    exposure_m: float = DEFAULT_EXPOSURE_M,
) -> Comparison:
    """Hold another list against ours.

    Parameters
    ----------
    roof : Roof
        Ours, with its joint covariance.
    theirs : sequence of Theirs
        Lines of the other list, one for each of ours.
    ours : mapping
        Our quantities, from `our_quantities`.
    left_out : sequence of str
        Items that the mapping ignores.
    exposure_m : float
        Of a course of shingles.

    Notes
    -----
    Odds are posterior probabilities of mistakes (`mistakes.py`) by Bayes' rule; one at a time is considered.
    The likelihood is the joint normal one of our quantities, changed as the mistake changes them, with the
    other party's own uncertainty; lines that stand apart under a mistake count as wrong by themselves.
    """
    lines = [_pair(one, ours[one.ours]) for one in theirs]
    compared = [_compared(line) for line in lines]
    return Comparison(
        lines=tuple(compared), causes=_causes(roof, lines, exposure_m), left_out=tuple(left_out)
    )


def _pair(theirs: Theirs, ours: Ours) -> _Line:
    if theirs.in_packages and ours.order is not None:
        need = ours.net.value + (ours.waste.value if ours.waste else 0.0)
        share = math.hypot(ours.net.u, ours.waste.u if ours.waste else 0.0) / need if need > 0 else 0.0
        u = math.hypot(share * ours.order.quantity, 1 / math.sqrt(12))
        return _Line(
            theirs=theirs,
            ours=ours,
            net=Measurement.normal(ours.order.quantity, u, floor=0.0),
            with_waste=None,
        )
    with_waste = None
    if ours.waste is not None:
        with_waste = Measurement(
            ours.net.value + ours.waste.value,
            math.hypot(ours.net.u, ours.waste.u),
            ours.net.value
            + ours.waste.value
            - math.hypot(ours.net.value - ours.net.low, ours.waste.value - ours.waste.low),
            ours.net.value
            + ours.waste.value
            + math.hypot(ours.net.high - ours.net.value, ours.waste.high - ours.waste.value),
        )
    return _Line(theirs=theirs, ours=ours, net=ours.net, with_waste=with_waste)


def _compared(line: _Line) -> ComparedLine:
    q = line.theirs.quantity
    candidates = [("net", line.net)]
    if line.with_waste is not None:
        candidates.append(("net + waste", line.with_waste))
    basis, mine = min(candidates, key=lambda item: abs(q - item[1].value) / max(item[1].u, EXACT_U))
    half = line.theirs.step / 2
    exact = mine.high - mine.low < 1e-9
    chance = 0.5 if exact and q == mine.value else float(ndtr((mine.value - q) / max(mine.u, 1e-9)))
    return ComparedLine(
        where=line.theirs.where,
        item=line.theirs.item,
        ours=line.ours.name,
        unit=line.theirs.unit,
        theirs=q,
        net=line.net,
        with_waste=line.with_waste,
        difference=q - mine.value,
        basis="order" if line.theirs.in_packages else basis,
        within=mine.low - half <= q <= mine.high + half,
        chance_more=chance,
        origin=line.ours.origin,
    )


def _causes(roof: Roof, lines: Sequence[_Line], exposure_m: float) -> tuple[Cause, ...]:
    """Mistakes by their odds; of a mistake with a number, the likeliest one stands for all."""
    usable = [line for line in lines if not line.theirs.in_packages]
    if not usable:
        return ()
    listed = {line.ours.name for line in lines if line.theirs.quantity > 0}
    considered = mistakes(roof, [line.ours for line in usable], listed=listed, exposure_m=exposure_m)
    weighed = [(one, *_log_likelihood(roof, usable, one)) for one in considered]
    scores = np.array([math.log(one.prior) + score for one, score, _ in weighed])
    odds = np.exp(scores - scores.max())
    odds /= odds.sum()
    causes = []
    for kind in dict.fromkeys(one.kind for one in considered):
        members = [i for i, one in enumerate(considered) if one.kind == kind]
        total = float(odds[members].sum())
        if total < LEAST_ODDS:
            continue
        best = max(members, key=lambda i: odds[i])
        alike = [i for i in members if considered[i].about and odds[i] > LOOKS_ALIKE * odds[best]]
        alike.sort(key=lambda i: -odds[i])
        text = considered[best].text
        if len(alike) > 1:
            others = ", ".join(" ".join(considered[i].about) for i in alike if i != best)
            text += f" (or as well {others}: they look alike)"
        if alone := weighed[best][2]:
            text += f"; {', '.join(alone)} differ by themselves"
        about = dict.fromkeys(name for i in alike for name in considered[i].about)
        causes.append(Cause(kind=kind, text=text, odds=total, about=tuple(about)))
    return tuple(sorted(causes, key=lambda cause: -cause.odds)[:MOST_SHOWN])


def _log_likelihood(roof: Roof, lines: Sequence[_Line], mistake: Mistake) -> tuple[float, list[str]]:
    """How well a mistake predicts the other list, and the lines that then still stand apart."""
    rows = {name: i for i, name in enumerate(roof.joint.names)}
    size = len(rows)
    weights = np.zeros((len(lines), size))
    expected, extra = np.zeros(len(lines)), np.zeros(len(lines))
    q = np.array([line.theirs.quantity for line in lines])
    for i, line in enumerate(lines):
        changed = mistake.change(line.ours)
        weights[i] = combined(changed, rows, size)
        touched = changed != dict(line.ours.weights)
        value = float(weights[i] @ roof.joint.values) if line.ours.weights else line.net.value
        expected[i], own = value, 0.0
        if line.ours.waste is not None and line.net.value > 0 and not (mistake.nets_only and touched):
            share = line.ours.waste.value / line.net.value
            spread = line.ours.waste.u / line.net.value * value
            near, far = abs(q[i] - value) / _own_u(q[i], line, value), abs(q[i] - value * (1 + share))
            if far / math.hypot(_own_u(q[i], line, value), spread) < near:
                expected[i], own = value * (1 + share), spread
                weights[i] *= 1 + share
        extra[i] = math.hypot(own, _own_u(q[i], line, value))
    covariance = weights @ roof.joint.covariance @ weights.T + np.diag(extra**2)
    return _robust(q, expected, covariance, [line.ours.name for line in lines])


def _own_u(q: float, line: _Line, value: float) -> float:
    """Standard uncertainty of the other party's number by itself."""
    rounding = line.theirs.step / math.sqrt(12)
    if not line.ours.weights:
        return math.hypot(EXACT_U, line.net.u)
    return max(math.hypot(OWN_SHARE * max(q, value), rounding), 1e-6)


def _robust(q: Array, expected: Array, covariance: Array, names: Sequence[str]) -> tuple[float, list[str]]:
    """Log-likelihood of a joint normal in which lines that stand far apart are wrong by themselves."""
    apart = np.abs(q - expected) > OUTLYING * np.sqrt(np.diag(covariance))
    kept = np.flatnonzero(~apart)
    score = 0.0
    for i in np.flatnonzero(apart):
        score += math.log(OUTLIER / (BROAD * max(expected[i], q[i], 1.0)))
    if len(kept):
        rest = (q - expected)[kept]
        factor = np.linalg.cholesky(covariance[np.ix_(kept, kept)])
        white = np.linalg.solve(factor, rest)
        score -= 0.5 * float(white @ white) + float(np.log(np.diag(factor)).sum())
        score -= 0.5 * len(kept) * math.log(2 * math.pi)
        score += len(kept) * math.log(1 - OUTLIER)
    return score, [name for name, far in zip(names, apart, strict=True) if far]
