"""Which way is up: from upright lines in the photos, from how cameras are held, and from GPS.

Each source says how a direction may turn, as information [1/rad²] in the frame of the model; they are
combined by it.  Upright lines outrank the others wherever walls are seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..scene import Array, Notice
from .gps import GpsFit
from .placed import Model
from .read import Pixels
from .spots import rays_of

Mask = npt.NDArray[np.bool_]

HELD_SD_RAD = float(np.deg2rad(2.0))  # by which a photographer holds a camera askew; gimbals do better
HELD_SHARED_SD_RAD = float(np.deg2rad(1.0))  # ... always to the same side
DOWN_SD_RAD = float(np.deg2rad(5.0))  # of a camera that is meant to look straight down
DOWN_CONE_RAD = float(np.deg2rad(20.0))  # of axes about straight down, within which a camera may lean any way
LINE_PX = 30.0  # least length of a segment at the matching size; shorter ones point anywhere
LINE_SD_PX = 0.3  # of a segment's ends across it
LEAN_SD_RAD = float(np.deg2rad(0.3))  # of one upright line on a house
PLUMB_SD_RAD = float(np.deg2rad(0.1))  # of a whole house: 1/4 in. in 12 ft, a common tolerance of walls
GATE_SDS, LEAST_GATE_RAD, MOST_GATE_RAD = 3.0, float(np.deg2rad(6.0)), float(np.deg2rad(20.0))
TRIES = 400  # pairs of segments; one in twenty of both being upright makes a failure a matter of 1 in 1000
INLIER_SDS = 3.0
APART_RAD = float(np.deg2rad(2.0))  # directions further apart are different ones
CLEAR_LEAD = (
    2.0  # of the best direction over any other: four photos of a roof from above gave 1.3 to a wrong one
)
ROUNDS = 10  # of weighing; it settles in four
LEAST_LINES, LEAST_PHOTOS = 12, 2  # upright lines, and photos with some, below which they are not believed
MAX_TILT_U_RAD = float(np.deg2rad(10.0))  # beyond which nobody knows which way is up


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """The vertical in the frame of a model."""

    up: Array  # (3,) unit
    u_rad: float  # standard uncertainty about each of two level axes
    source: str  # for people
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lines:
    """Segments as planes through the camera: an upright line's plane holds the vertical."""

    normal: Array  # (n, 3)
    along: Array  # (n, 3) the segment's own direction, across the line of sight
    sight: Array  # (n, 3) to its middle
    turn_sd: Array  # (n,) of its direction in the photo [rad]
    shift_sd: Array  # (n,) across it [rad]
    photo: Array  # (n,)


def level_of(
    model: Model, pixels: dict[str, Pixels], gps: GpsFit | None, *, rng: np.random.Generator
) -> Level:
    """The vertical by everything that tells of it.

    Parameters
    ----------
    model : Model
    pixels : dict of str to array
        Pictures of the model's photos, at the matching size.
    gps : GpsFit, optional
    rng : Generator
        Chooses the pairs of lines that are tried.

    Returns
    -------
    Level

    Raises
    ------
    InputError
        If nothing tells which way is up.
    """
    held, information = _held(model)
    sources = ["how the cameras were held"]
    if gps is not None:
        information, held = _joined(information, held, gps.level_information, gps.rotation[2])
        sources.append("GPS")
    start_sd = _worst_sd(information, held)
    lines = _lines(model, pixels)
    found = _upright(lines, held, start_sd, rng)
    if found is None:
        if start_sd > MAX_TILT_U_RAD:
            raise InputError(
                "photos: nothing tells which way is up: no upright lines of walls are seen, and the photos"
                " look"
                " one way; take more photos at a slant from all sides, level at the horizon"
            )
        text = (
            f"level is by {' and '.join(sources)} alone, to {np.rad2deg(start_sd):.1f}° (standard"
            " uncertainty): no"
            " upright lines of walls were seen; opposite faces may be off by that much in opposite ways;"
            " photos at"
            " a slant that show the walls' corners settle it"
        )
        return Level(
            up=held,
            u_rad=start_sd,
            source=" and ".join(sources),
            notices=(Notice(code="level_weak", text=text),),
        )
    up, u_rad, n_lines, n_photos = found
    apart = float(np.arccos(np.clip(up @ held, -1, 1)))
    source = f"{n_lines} upright lines in {n_photos} photos"
    if apart > INLIER_SDS * float(np.hypot(start_sd, u_rad)):
        text = (
            f"upright lines put the vertical {np.rad2deg(apart):.1f}° off from {' and '.join(sources)}, more"
            " than"
            " their doubt allows: look whether opposite faces that ought to be alike are"
        )
        return Level(up=up, u_rad=u_rad, source=source, notices=(Notice(code="level_conflict", text=text),))
    return Level(up=up, u_rad=u_rad, source=source)


def _held(model: Model) -> tuple[Array, Array]:
    """Up by how cameras are held: their x axes level; or, where all look one way, that way down."""
    x, y, z = (model.rotation[:, k] for k in range(3))
    mean = z.mean(axis=0) / np.linalg.norm(z.mean(axis=0))
    if bool((z @ mean > np.cos(DOWN_CONE_RAD)).all()) and _from_above(model):
        return -mean, _about(-mean, np.eye(3) / DOWN_SD_RAD**2)
    sd = np.full(len(x), HELD_SD_RAD)
    for _ in range(ROUNDS):
        information = (x / sd[:, None] ** 2).T @ x
        up = np.linalg.eigh(information)[1][:, 0]
        up = up * (1.0 if float((-y - z).sum(axis=0) @ up) > 0 else -1.0)
        sd = np.hypot(HELD_SD_RAD, DOWN_CONE_RAD * (z @ up) ** 4)
    return up, _capped(_turns(information, up), HELD_SHARED_SD_RAD)


def _from_above(model: Model) -> bool:
    """Whether photos that all look one way look down: their points are then about equally far off."""
    depths = [
        (model.points[model.seen_point[model.seen_photo == i]] @ model.rotation[i].T + model.translation[i])[
            :, 2
        ]
        for i in range(len(model.names))
    ]
    spread = [
        np.percentile(depth, 90) / max(np.percentile(depth, 10), 1e-9) for depth in depths if len(depth)
    ]
    return bool(spread) and float(np.median(spread)) < 2.0


def _turns(by_direction: Array, up: Array) -> Array:
    """Information on where a direction lies, as information on turns: turning by w moves up by w x up."""
    cross = np.array([[0, up[2], -up[1]], [-up[2], 0, up[0]], [up[1], -up[0], 0]])  # w -> w x up
    return np.asarray(cross.T @ by_direction @ cross)


def _about(up: Array, information: Array) -> Array:
    """Information on turns about level axes alone."""
    level = np.eye(3) - np.outer(up, up)
    return np.asarray(level @ information @ level)


def _capped(information: Array, sd_rad: float) -> Array:
    """Information with a shared doubt that no number of photos takes away."""
    values, vectors = np.linalg.eigh(information)
    values = 1 / (1 / np.maximum(values, 1e-12) + sd_rad**2)
    return np.asarray((vectors * np.where(values < 1e-9, 0, values)) @ vectors.T)


def _joined(first: Array, up: Array, second: Array, other: Array) -> tuple[Array, Array]:
    """Two verticals by their information."""
    a, b = _about(up, first), _about(other, second)
    total = a + b
    turn = np.linalg.pinv(total) @ b @ np.cross(up, other)
    mean = up + np.cross(turn, up)
    mean = mean / np.linalg.norm(mean)
    return _about(mean, total), mean


def _worst_sd(information: Array, up: Array) -> float:
    """Standard uncertainty about the level axis that is known worst [rad]."""
    values = np.linalg.eigvalsh(_about(up, information))[1:]
    return float(1 / np.sqrt(max(values.min(), 1e-12)))


def _lines(model: Model, pixels: dict[str, Pixels]) -> _Lines:
    """Straight segments of all photos.

    References
    ----------
    .. [1] R. Grompone von Gioi et al., "LSD: a Line Segment Detector," Image Processing On Line 2, 35-55,
       2012, doi:10.5201/ipol.2012.gjmr-lsd.
    """
    import cv2

    parts: list[tuple[Array, ...]] = []
    for i, name in enumerate(model.names):
        picture = pixels[name]
        detector: Any = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
        found = detector.detect(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY))[0]
        if found is None:
            continue
        ends = np.asarray(found, dtype=np.float64).reshape(-1, 2, 2)
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        ends, length = ends[length > LINE_PX], length[length > LINE_PX]
        # the detector has the centre of the first pixel at (0, 0) or (0.5, 0.5): no matter for directions
        factor = 2 * model.lens[i, 1:3].max() / max(picture.shape[:2])
        n = len(ends)
        lens = np.broadcast_to(model.lens[i], (n, 5))
        rotation = np.broadcast_to(model.rotation[i], (n, 3, 3))
        a, b = (rays_of(lens, rotation, (ends[:, k] + 0.5) * factor - 0.5) for k in (0, 1))
        focal = model.lens[i, 0] / factor
        parts.append(
            (
                _unit(np.cross(a, b)),
                _unit(b - a),
                _unit(a + b),
                2 * LINE_SD_PX / length,
                np.full(n, LINE_SD_PX / focal),
                np.full(n, i),
            )
        )
    if not parts:
        empty = np.zeros((0, 3))
        return _Lines(
            normal=empty,
            along=empty,
            sight=empty,
            turn_sd=empty[:, 0],
            shift_sd=empty[:, 0],
            photo=empty[:, 0],
        )
    normal, along, sight, turn, shift, photo = (
        np.concatenate(columns) for columns in zip(*parts, strict=True)
    )
    return _Lines(normal=normal, along=along, sight=sight, turn_sd=turn, shift_sd=shift, photo=photo)


def _upright(
    lines: _Lines, start: Array, start_sd: float, rng: np.random.Generator
) -> tuple[Array, float, int, int] | None:
    """The direction that most segments near the start agree on, its doubt, and how many agree."""
    gate = float(np.clip(GATE_SDS * start_sd, LEAST_GATE_RAD, MOST_GATE_RAD))
    off = np.abs(lines.normal @ start) / np.maximum(np.abs(lines.along @ start), 1e-9)
    lines = _where(lines, off < np.tan(gate))
    if len(lines.normal) < LEAST_LINES:
        return None
    variance = _variance(lines, start)
    worth = (lines.along @ start) ** 2 / variance  # what a segment tells of the vertical
    odds = worth / worth.sum()
    tried: list[Array] = []
    scores: list[float] = []
    for _ in range(TRIES):
        i, k = rng.choice(len(odds), 2, replace=False, p=odds)
        up = np.cross(lines.normal[i], lines.normal[k])
        size = float(np.linalg.norm(up))
        if size < np.sin(np.deg2rad(3.0)):
            continue
        up = up / size * np.sign(up @ start)
        if up @ start < np.cos(gate):
            continue
        misfit = (lines.normal @ up) ** 2 / variance
        tried.append(up)
        scores.append(float((worth * np.maximum(0.0, 1 - misfit / INLIER_SDS**2)).sum()))
    if not tried:
        return None
    best = tried[int(np.argmax(scores))]
    apart = np.array(tried) @ best < np.cos(APART_RAD)
    if apart.any() and max(scores) < CLEAR_LEAD * float(np.array(scores)[apart].max()):
        return None  # clutter agrees on something everywhere
    up, inside = _settled(lines, best)
    n_photos = len(np.unique(lines.photo[inside]))
    if inside.sum() < LEAST_LINES or n_photos < LEAST_PHOTOS:
        return None
    sd = float(np.hypot(_scatter_sd(_where(lines, inside), up), PLUMB_SD_RAD))
    if sd > start_sd:
        return None
    return up, sd, int(inside.sum()), n_photos


def _settled(lines: _Lines, up: Array) -> tuple[Array, Mask]:
    """Weighted least squares over the segments that agree, until they stay the same."""
    for _ in range(ROUNDS):
        variance = _variance(lines, up)
        inside = (lines.normal @ up) ** 2 < INLIER_SDS**2 * variance
        up = _fitted(_where(lines, inside), up)
    return up, inside


def _fitted(lines: _Lines, up: Array) -> Array:
    weight = 1 / _variance(lines, up)
    _, _, axes = np.linalg.svd(lines.normal * np.sqrt(weight)[:, None], full_matrices=False)
    return np.asarray(axes[2] * (1.0 if axes[2] @ up > 0 else -1.0))


def _scatter_sd(lines: _Lines, up: Array) -> float:
    """Standard uncertainty about the worse level axis, by leaving out one photo at a time.

    References
    ----------
    .. [1] B. Efron, C. Stein, "The jackknife estimate of variance," Ann. Statist. 9(3), 586-596, 1981.
    """
    photos = np.unique(lines.photo)
    moved = []
    for photo in photos:
        rest = _where(lines, lines.photo != photo)
        if np.linalg.matrix_rank(rest.normal) < 2:
            return float(np.pi)
        moved.append(_fitted(rest, up))
    spread = np.array(moved) - np.mean(moved, axis=0)
    covariance = (len(photos) - 1) / len(photos) * spread.T @ spread
    return float(np.sqrt(np.linalg.eigvalsh(covariance)[-1]))


def _variance(lines: _Lines, up: Array) -> Array:
    """Of normal . up: a segment's turn matters as it runs along up, its shift as up points away."""
    turn = np.hypot(lines.turn_sd, LEAN_SD_RAD) * (lines.along @ up)
    return np.asarray(turn**2 + (lines.shift_sd * (lines.sight @ up)) ** 2)


def _where(lines: _Lines, keep: Mask) -> _Lines:
    return _Lines(
        normal=lines.normal[keep],
        along=lines.along[keep],
        sight=lines.sight[keep],
        turn_sd=lines.turn_sd[keep],
        shift_sd=lines.shift_sd[keep],
        photo=lines.photo[keep],
    )


def _unit(rows: Array) -> Array:
    return np.asarray(rows / np.linalg.norm(rows, axis=1)[:, None])
