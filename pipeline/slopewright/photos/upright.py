"""Which way is up: plumb lines, level edges and how people hold cameras, each with its doubt.

An observation says that a direction is at right angles to the vertical.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..scene import Array, lock

AXIS_SD_RAD = float(np.deg2rad(3.0))  # of a camera's x axis against the level: hands and gimbals
LEANING = (
    1.0  # of the guess that up lies between the picture's up and backwards; decides nothing that is seen
)
FLAT = 0.4  # of the guess that marks of a house spread least along the vertical
FAR = 3.5  # standard deviations, beyond which what should be plumb or level is not used


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """A direction at right angles to the vertical."""

    what: str  # for messages; empty for cameras, which are never tested
    direction: Array  # (3,) unit
    sd: float  # of its component along the vertical [rad]

    def __post_init__(self) -> None:
        lock(self.direction)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Upright:
    """The vertical."""

    up: Array  # (3,) unit
    covariance: Array  # (3, 3) [rad²] of its lean; none along itself
    refused: tuple[str, ...]  # what should be plumb or level and is not

    def __post_init__(self) -> None:
        lock(self.up, self.covariance)

    @property
    def u_rad(self) -> float:
        """Standard uncertainty of the lean in the direction that is known least."""
        return float(np.sqrt(np.linalg.eigvalsh(self.covariance)[-1]))


def of_cameras(rotations: Array) -> list[Level]:
    """That cameras were held level, from rotations (n, 3, 3) world to camera."""
    return [Level(what="", direction=rotation[0].copy(), sd=AXIS_SD_RAD) for rotation in rotations]


def plumb(what: str, direction: Array, sd: float) -> list[Level]:
    """That a line is plumb: two directions across it."""
    along = direction / np.linalg.norm(direction)
    _, _, axes = np.linalg.svd(along[None])
    return [Level(what=what, direction=axes[k].copy(), sd=sd) for k in (1, 2)]


def upright(seen: Sequence[Level], rotations: Array, points: Array) -> Upright:
    """The vertical that observations agree on.

    Parameters
    ----------
    seen : sequence of Level
    rotations : array, shape (n, 3, 3)
        Of the cameras, world to camera: where to start.
    points : array, shape (p, 3)
        Marks of the house: where to start.

    Returns
    -------
    Upright

    Notes
    -----
    Least squares of (a . u)² / sd² over unit vectors u, with two weak guesses that keep it determined.  What
    should be plumb or level and is further off than `FAR` is left out, worst first, and named.
    """
    guess = -(rotations[:, 1] + rotations[:, 2]).mean(axis=0)
    thin = np.linalg.svd(points - points.mean(axis=0))[2][2]
    thin = thin if thin @ guess >= 0 else -thin
    guess = guess / LEANING**2 + thin / FLAT**2
    ridge = 1 / LEANING**2 + 1 / FLAT**2
    used = list(seen)
    refused: list[str] = []
    while True:
        normal = ridge * np.eye(3)
        for level in used:
            normal += np.outer(level.direction, level.direction) / level.sd**2
        up = np.linalg.solve(normal, guess)
        up /= np.linalg.norm(up)
        across = np.eye(3) - np.outer(up, up)
        covariance = across @ np.linalg.pinv(across @ normal @ across, hermitian=True) @ across
        tested = [
            (abs(float(level.direction @ up)) / _spread(level, covariance), level)
            for level in used
            if level.what
        ]
        worst = max(tested, key=lambda item: item[0], default=None)
        if worst is None or worst[0] <= FAR:
            return Upright(up=up, covariance=covariance, refused=tuple(dict.fromkeys(refused)))
        refused.append(worst[1].what)
        used = [level for level in used if level.what != worst[1].what]


def _spread(level: Level, covariance: Array) -> float:
    """Standard deviation of what remains of an observation, not below a share of its own."""
    own = float(level.direction @ covariance @ level.direction)
    return float(np.sqrt(max(level.sd**2 - own, (0.3 * level.sd) ** 2)))
