"""The straight line along which photos agree that colours change.  Metres; pixels are those across the edge.

Each photo's change of colour is spread over the strip as shares of one; the shares of all photos and chunks
are added along straight lines.  What lies on the plane adds up, what lies behind it is elsewhere in each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ..scene import Array, lock

BLUR_PX = 0.7  # before the derivative: about what lens and sensor blur anyway
QUIET_GREY = 1.5  # change over a pixel that noise and JPEG make by themselves; own trials
START_SD_M = (
    0.06  # the cloud's edges, moved in for bleed or not, lie 5 cm inside to 6 cm outside (own trials)
)
TURN_SD_RAD = np.deg2rad(0.6)  # of the cloud's edges
MOST_TURN_RAD = np.deg2rad(1.5)
TURN_LENGTH_M = 1.5  # shorter edges keep the cloud's direction
APART_PX = 2.5  # peaks closer than this are one
RIVAL = (
    0.5  # share of the best line's score from which another is a rival: gutter, shadow, course of shingles
)
CLEAR = 2.5  # times the strip's middle score that the best line reaches
NEAR_PX = 2.0  # a chunk whose own peak is so near supports the line
LEAST_SUPPORT = 0.3  # share of the length
FLOOR_PX = 0.2  # no edge is placed better than to this share of a pixel
LEAST_VIEWS = 2  # photos of a chunk
MOST_FEW = 4.0  # by which the variance among few photos is taken larger; own assumption for two and three


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """Where the photos have an edge, from where it was thought to be."""

    offset_m: float  # outward, at the pivot
    turn_rad: float  # further out along the stations
    pivot_m: float  # station
    covariance: Array  # (2, 2) of offset and turn
    support: float  # 0..1, share of the length that shows it
    turned: bool  # whether the turn is the photos' own

    def __post_init__(self) -> None:
        lock(self.covariance)


def shares(colour: Array, t: Array, pixel_m: Array) -> Array:
    """Change of colour across the strip, of each photo and chunk as shares of one.

    Parameters
    ----------
    colour : array, shape (photos, chunks, n, 3)
        Grey levels; not a number where not seen.
    t : array, shape (n,)
        Evenly spaced [m].
    pixel_m : array, shape (photos,)

    Returns
    -------
    array, shape (photos, chunks, n)
        Shares per pixel: they add up to one where the colour changes clearly, to less where it hardly does.
    """
    step = float(t[1] - t[0])
    made = np.full(colour.shape[:3], np.nan)
    for i, pixel in enumerate(pixel_m):
        slope = ndimage.gaussian_filter1d(
            colour[i], max(BLUR_PX * pixel / step, 0.8), axis=1, order=1, mode="nearest"
        )
        energy = ((slope * pixel / step) ** 2).sum(axis=-1)
        total = energy.sum(axis=-1, keepdims=True) * step / pixel
        made[i] = energy / (total + QUIET_GREY**2)
    return made


def best_line(
    share: Array, t: Array, stations: Array, length_m: Array, pixel_m: float, start_sd_m: float
) -> Line | None:
    """The line of the highest score, or None where none is clear.

    Parameters
    ----------
    share : array, shape (photos, chunks, n)
        As `shares` makes them.
    t : array, shape (n,)
        Evenly spaced [m].
    stations, length_m : array, shape (chunks,)
        Middles and lengths of the chunks [m].
    pixel_m : float
        The finest photo's.
    start_sd_m : float
        Standard deviation of the places from which `t` counts.

    Notes
    -----
    The covariance is the sum of the jackknife's over photos and over chunks [1]_, of the spread to rival
    lines, and of a floor.

    References
    ----------
    .. [1] B. Efron, C. Stein, The jackknife estimate of variance, Annals of Statistics 9(3), 1981,
       doi:10.1214/aos/1176345462.
    """
    used = np.isfinite(share[..., 0]).sum(axis=0) >= LEAST_VIEWS
    if not used.any():
        return None
    seen_m = float(length_m[used].sum())
    search = _Search(share[:, used], t, stations[used], length_m[used], (pixel_m, start_sd_m))
    best = search.start()
    if best is None:
        return None
    offset, turn = search.refined(best)
    support = search.support(offset, turn)
    if support < LEAST_SUPPORT:
        return None
    covariance = search.jackknife((offset, turn))
    covariance[0, 0] += search.rivals(offset, turn) + (FLOOR_PX * pixel_m) ** 2
    covariance[1, 1] += 12 * (FLOOR_PX * pixel_m / max(seen_m, TURN_LENGTH_M)) ** 2
    return Line(
        offset_m=offset,
        turn_rad=turn,
        pivot_m=search.pivot,
        covariance=covariance,
        support=support * seen_m / float(length_m.sum()),
        turned=search.turns,
    )


class _Search:
    """Scores of lines: the shares along them.  What the cloud says decides between lines, and moves none."""

    def __init__(
        self, share: Array, t: Array, stations: Array, length_m: Array, pixel_and_start_m: tuple[float, float]
    ) -> None:
        self.share, self.t, self.length = share, t, length_m
        self.pixel_m, self.start_sd_m = pixel_and_start_m
        self.pivot = float((stations * length_m).sum() / length_m.sum())
        self.away = stations - self.pivot
        self.reach = float(np.abs(self.away).max()) if len(stations) > 1 else 0.0
        self.turns = float(np.ptp(stations)) + float(length_m.mean()) >= TURN_LENGTH_M and len(stations) > 1

    def mean(self, photos: npt.NDArray[np.bool_] | None = None) -> Array:
        """Of the photos that see each chunk, shape (chunks, n), zero where none does."""
        share = self.share if photos is None else self.share[photos]
        n = np.isfinite(share[..., :1]).sum(axis=0)
        return np.asarray(np.nan_to_num(share).sum(axis=0) / np.maximum(n, 1))

    def score(self, offset: Array, turn: Array, mean: Array, length: Array) -> Array:
        """Of lines, any shape."""
        total = np.zeros(np.broadcast_shapes(offset.shape, turn.shape))
        for row, away, m in zip(mean, self.away, length, strict=True):
            total += m * np.interp(offset + turn * away, self.t, row, left=0.0, right=0.0)
        return np.asarray(total / length.sum())

    def start(self) -> tuple[float, float] | None:
        """The best line of a grid, if it is clear."""
        step = float(self.t[1] - self.t[0])
        turns = np.zeros(1)
        if self.turns:
            n = int(np.ceil(MOST_TURN_RAD * self.reach / step))
            turns = np.linspace(-MOST_TURN_RAD, MOST_TURN_RAD, 2 * n + 1)
        offset, turn = self.t[None, :], turns[:, None]
        table = self.score(offset, turn, self.mean(), self.length) * self._likely(offset, turn)
        k, j = np.unravel_index(int(table.argmax()), table.shape)
        if table[k, j] <= CLEAR * float(np.median(self.mean())):
            return None
        return float(self.t[j]), float(turns[k])

    def refined(
        self, start: tuple[float, float], mean: Array | None = None, length: Array | None = None
    ) -> tuple[float, float]:
        """The top of a paraboloid through the scores around, a few times over."""
        mean = self.mean() if mean is None else mean
        length = self.length if length is None else length
        offset, turn = start
        span = 0.7 * self.pixel_m
        lever = max(self.reach, 1e-9)
        u, v = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 5), np.linspace(-1, 1, 5)))
        if not self.turns:
            v = np.zeros_like(u)
        for _ in range(4):
            value = self.score(offset + span * u, turn + span / lever * v, mean, length)
            columns = [np.ones_like(u), u, u * u] + ([v, v * v, u * v] if self.turns else [])
            c = np.linalg.lstsq(np.column_stack(columns), value, rcond=None)[0]
            hessian = (
                np.array([[2 * c[2], c[5]], [c[5], 2 * c[4]]]) if self.turns else np.diag([2 * c[2], -1.0])
            )
            gradient = np.array([c[1], c[3] if self.turns else 0.0])
            if np.linalg.eigvalsh(hessian).max() >= 0:  # no top here: stay
                break
            move = np.clip(-np.linalg.solve(hessian, gradient), -1.0, 1.0)
            offset, turn = offset + span * float(move[0]), turn + span / lever * float(move[1])
        return offset, turn

    def _likely(self, offset: Array, turn: Array) -> Array:
        """How likely lines are by the cloud alone, one for its own."""
        return np.asarray(np.exp(-0.5 * (offset / self.start_sd_m) ** 2 - 0.5 * (turn / TURN_SD_RAD) ** 2))

    def support(self, offset: float, turn: float) -> float:
        """Share of the length whose own best place is near the line."""
        own = self.t[(self.mean() * self._likely(self.t, np.zeros(1))).argmax(axis=1)]
        near = np.abs(own - offset - turn * self.away) <= NEAR_PX * self.pixel_m
        return float((near * self.length).sum() / self.length.sum())

    def rivals(self, offset: float, turn: float) -> float:
        """Mean square distance to lines that score nearly as well, weighted by squared scores [m²]."""
        at, along = np.append(self.t, offset), np.array(turn)
        score = self.score(at, along, self.mean(), self.length) * self._likely(at, along)
        score, top = score[:-1], float(score[-1])
        peak = np.flatnonzero((score[1:-1] > score[:-2]) & (score[1:-1] >= score[2:])) + 1
        apart = np.abs(self.t[peak] - offset) > APART_PX * self.pixel_m
        peak = peak[apart & (score[peak] > RIVAL * top)]
        weight = (score[peak] / top) ** 2
        return float((weight * (self.t[peak] - offset) ** 2).sum() / (1 + weight.sum()))

    def jackknife(self, at: tuple[float, float]) -> Array:
        """Covariance of offset and turn by leaving out each photo and each chunk."""
        total = np.zeros((2, 2))
        n_photos = len(self.share)
        if n_photos > 1:
            left = [self.refined(at, self.mean(np.arange(n_photos) != i)) for i in range(n_photos)]
            total += _few(n_photos) * _jackknifed(np.array(left))
        n_chunks = len(self.length)
        if n_chunks > 2:
            mean = self.mean()
            left = [
                self.refined(at, mean, np.where(np.arange(n_chunks) == c, 0.0, self.length))
                for c in range(n_chunks)
            ]
            total += _jackknifed(np.array(left))
        return total


def _few(n: int) -> float:
    """Variance of Student's t of n values over the normal's, bounded where it is not finite."""
    return min((n - 1) / (n - 3), MOST_FEW) if n > 3 else MOST_FEW


def _jackknifed(left_out: Array) -> Array:
    away = left_out - left_out.mean(axis=0)
    return np.asarray((len(away) - 1) / len(away) * away.T @ away)
