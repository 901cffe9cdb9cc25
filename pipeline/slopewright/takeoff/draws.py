"""Draws from the joint distribution of the roof's areas and lengths, for what is not a linear sum.

Every line is computed from the same draws, so that two lines that hang on one edge move together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measurement import Measurement
from ..roof import Joint
from ..scene import Array, lock

N_DRAWS = 10_000  # a chance of 5 % is then known to 0.2 %, one standard deviation
EIGENVALUE_FLOOR = 1e-14  # of the largest: below it a direction of the covariance is rounding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """Draws of the joint quantities; column i is `names[i]` in m or m², never negative."""

    names: dict[str, int]
    values: Array  # (n, q)

    def __post_init__(self) -> None:
        lock(self.values)

    def __getitem__(self, name: str) -> Array:
        column: Array = self.values[:, self.names[name]]
        return column

    def combine(self, weights: dict[str, float]) -> Array:
        """The weighted sum of named quantities, shape (n,)."""
        columns = [self.names[name] for name in weights]
        total: Array = self.values[:, columns] @ np.array(list(weights.values()), dtype=np.float64)
        return total


def draw(joint: Joint, *, rng: np.random.Generator, n: int = N_DRAWS) -> Draws:
    """Draw from the joint normal distribution, in pairs that mirror each other about the mean.

    Parameters
    ----------
    joint : Joint
        Values [m, m²] and covariance of all areas and lengths.
    rng : numpy.random.Generator
        Source of chance; one seed gives one result.
    n : int
        Number of draws, even.

    Returns
    -------
    Draws
        Their mean is the joint's value up to rounding (mirrored pairs), cut at zero.

    References
    ----------
    .. [1] JCGM 101:2008 (GUM Supplement 1), 6.4.8: draws from a multivariate normal.
    """
    eigenvalues, vectors = np.linalg.eigh((joint.covariance + joint.covariance.T) / 2)
    keep = eigenvalues > EIGENVALUE_FLOOR * max(float(eigenvalues.max(initial=0.0)), 0.0)
    factor = vectors[:, keep] * np.sqrt(eigenvalues[keep])
    half = rng.standard_normal((n // 2, int(keep.sum()))) @ factor.T
    values = np.maximum(joint.values + np.concatenate([half, -half]), 0.0)
    return Draws(names={name: i for i, name in enumerate(joint.names)}, values=values)


def uniform_share(low: float, high: float, *, rng: np.random.Generator, n: int) -> Array:
    """One number in each of n equal slices of [low, high], in random order, shape (n,)."""
    share: Array = low + (high - low) * (rng.permutation(n) + 0.5) / n
    return share


def summary(draws: Array) -> Measurement:
    """Mean, standard deviation and probabilistically symmetric 95 % bounds of draws.

    References
    ----------
    .. [1] JCGM 101:2008, 7.6 and 7.7.
    """
    low, high = np.quantile(draws, [0.025, 0.975])
    return Measurement(float(draws.mean()), float(draws.std()), float(low), float(high))


EXACT_ZERO = Measurement(0.0, 0.0, 0.0, 0.0)
