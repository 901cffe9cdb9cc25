"""Photos tied by marks alone: cameras, points, scale and vertical from a person's marks, with one covariance.

For what features cannot join: four photos of four sides, a walk round a house.  Metres, radians, pixels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from scipy.special import chdtri, ndtri

from ..errors import InputError
from ..scene import Array, Notice, lock
from .assemble import Trial, assemble
from .bundle import CENTRE_SD, Length, LensPrior, Net, Sights, Solved, adjusted, judged, solve
from .marks import Mark, Marks
from .model import Block, Camera, PosedPhoto
from .read import Photo
from .upright import Level, Upright, of_cameras, plumb, upright

LEAST_MARKS = 4  # of a photo, in common with others
FOCAL_SD = 0.03  # of EXIF's focal length: whole millimetres of a 35 mm frame, breathing, stabilising crops
FREE_FOCAL_SD = 0.35  # where EXIF is silent or wrong
USUAL_FOCAL = 0.8  # of the long side: telephones and drones
LEAST_EXPLAINED = 0.6  # share of all marks that an arrangement must hold
STRAINED = 1.5  # strain of an arrangement that makes the lens doubtful
DRAWN = 2.5  # ... and standard deviations by which the marks draw it away from EXIF
FREE_TRIALS = 4  # arrangements that are tried for each focal length
RELEASE_GAIN = 25.0  # squares of standard deviations by which a free lens must fit better to be believed
FALSE_ALARMS = 0.01  # chance that any mark of a job without blunders is called one
WILD = 10.0  # standard deviations: marks so far from the robust fit are left out together, the rest singly
LEAST_CHECK = 0.15  # share of a mark's error that shows in its residual; below it cannot be tested
MOST_BLUNDERS = 0.1  # share of all marks; more, and it is not known which are right
SCATTERED = 1.5  # times the squares that marks should have, from which it is told
CONTRADICTION = 1e-3  # chance with which lengths that are right are called contradicting
PLUMB_SD = float(np.deg2rad(0.4))  # of a wall: 15 mm in 2.4 m, common in framing (from memory)
TWIN_COST = float(chdtri(6, 0.01))  # two arrangements that differ by less are both possible
TWIN_APART = 0.05  # of the block's size: arrangements nearer than this are one


class KnownLength(Protocol):
    """A length between two places, each one mark or the middle of several."""

    @property
    def name(self) -> str:
        """For messages."""

    @property
    def ends(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Names of marks."""

    @property
    def length_m(self) -> float:
        """[m]"""

    @property
    def u_m(self) -> float:
        """Standard uncertainty [m]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedLength:
    """A known length between two places, each one mark or the middle of several."""

    name: str
    ends: tuple[tuple[str, ...], tuple[str, ...]]
    length_m: float
    u_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkedBlock:
    """A block with its marks as points, their joint covariance, and what remains of each mark."""

    block: Block
    names: tuple[str, ...]
    xyz: Array  # (p, 3) [m], level, in the block's frame
    covariance: Array  # (3 p, 3 p) [m²], scale included, turn and shift of the whole left out
    up_covariance: Array  # (3, 3) [rad²] of the vertical's lean, apart from the above
    level: tuple[Level, ...]  # what the vertical was taken from
    residual_px: dict[tuple[str, str], float]  # by photo and mark, of all that were used

    def __post_init__(self) -> None:
        lock(self.xyz, self.covariance, self.up_covariance)


def run(
    photos: Sequence[Photo],
    marks: Marks,
    known: Sequence[KnownLength] = (),
    *,
    rng: np.random.Generator,
) -> MarkedBlock:
    """Place photos by their marks.

    Parameters
    ----------
    photos : sequence of Photo
    marks : Marks
        Each in as many photos as show it.  Two marks `NAME.top` and `NAME.foot` are one above the other: a
        corner of a wall.
    known : sequence of KnownLength
        Without any the block has no scale, and is refused.
    rng : Generator
        Draws subsets of marks to start from.

    Returns
    -------
    MarkedBlock
        With every photo that has four marks or more in common with others, unless it contradicts them.

    Raises
    ------
    InputError
        If the marks are too few, fit several arrangements, or none; or if the lengths contradict each other.

    References
    ----------
    .. [1] W. Baarda, "A testing procedure for use in geodetic networks," 1968 (data snooping).
    """
    photos, used, left_out = _usable(photos, marks)
    sights = _sights(photos, used)
    names = tuple(mark.name for mark in used)
    prior = lens_prior(photos)
    trial, prior, notices = _arranged(photos, sights, prior, marks.file, rng)
    lengths = _lengths(known, names, trial.net, marks.file)
    net = _scaled(trial.net, lengths)
    free, blunders = _without_blunders(net, prior, sights, photos, names, marks.file)
    lengths = _lengths(known, names, free.net, marks.file)  # of marks that are left
    _check_lengths(free, lengths, marks.file)
    solved = solve(free.net, prior, free.sights, lengths)
    notices += [_told(blunder, photos, names) for blunder in blunders]
    return _levelled(solved, prior, photos, names, marks, lengths, left_out, notices)


def lens_prior(photos: Sequence[Photo]) -> LensPrior:
    """What EXIF says of the lenses, one camera for all photos of one make, size and zoom."""
    cameras = list(dict.fromkeys(photo.camera for photo in photos))
    first = [next(photo for photo in photos if photo.camera == camera) for camera in cameras]
    long_side = np.array([max(photo.width_px, photo.height_px) for photo in first], dtype=np.float64)
    focal = np.array([photo.focal_px or np.nan for photo in first])
    silent = np.isnan(focal)
    return LensPrior(
        focal_px=np.where(silent, USUAL_FOCAL * long_side, focal),
        focal_sd=np.where(silent, FREE_FOCAL_SD, FOCAL_SD),
        centre_px=np.array([[(photo.width_px - 1) / 2, (photo.height_px - 1) / 2] for photo in first]),
        centre_sd_px=CENTRE_SD * long_side,
        of_photo=np.array([cameras.index(photo.camera) for photo in photos]),
    )


def _usable(photos: Sequence[Photo], marks: Marks) -> tuple[list[Photo], list[Mark], list[tuple[str, str]]]:
    """Photos and marks that can tie: marks in two photos or more, photos with four of those or more."""
    kept = {photo.name: photo for photo in photos}
    while True:
        used = [mark for mark in marks.marks if sum(name in kept for name in mark.photos) >= 2]
        count = {name: sum(name in mark.photos for mark in used) for name in kept}
        few = [name for name, n in count.items() if n < LEAST_MARKS]
        if not few:
            break
        for name in few:
            del kept[name]
    left_out = [
        (
            photo.name,
            f"{sum(photo.name in m.photos for m in marks.marks)} marks, and fewer than {LEAST_MARKS} of"
            " them in other photos too",
        )
        for photo in photos
        if photo.name not in kept
    ]
    if len(kept) < 2:
        raise InputError(
            f"{marks.file}: no two photos have {LEAST_MARKS} marks that two photos or more show; mark the"
            " same roof and wall corners, 6 or more, in photos taken off the corners of the house, so that"
            " each shows two sides and shares one with the next"
        )
    return list(kept.values()), used, left_out


def _sights(photos: list[Photo], marks: list[Mark]) -> Sights:
    row = {photo.name: i for i, photo in enumerate(photos)}
    seen = [
        (row[name], j, xy, mark.u_px)
        for j, mark in enumerate(marks)
        for name, xy in mark.photos.items()
        if name in row
    ]
    return Sights(
        photo=np.array([s[0] for s in seen]),
        mark=np.array([s[1] for s in seen]),
        xy=np.array([s[2] for s in seen], dtype=np.float64),
        u_px=np.array([s[3] for s in seen]),
    )


def _arranged(
    photos: list[Photo], sights: Sights, prior: LensPrior, file: str, rng: np.random.Generator
) -> tuple[Trial, LensPrior, list[Notice]]:
    """The arrangement that fits, with the lens freed if EXIF's focal length does not."""
    trials = assemble(sights, prior, rng)
    notices: list[Notice] = []
    free = replace(prior, focal_sd=np.full(len(prior.focal_sd), FREE_FOCAL_SD))
    stated = prior.focal_sd < FREE_FOCAL_SD
    strained = not trials or trials[0].strain > STRAINED or _drawn(trials[0], prior)
    if stated.any() and strained:
        for factor in (1.0, 0.75, 1.35):
            guess = replace(free, focal_px=prior.focal_px * factor)
            freed = assemble(sights, guess, rng, most=FREE_TRIALS)
            if freed and (not trials or freed[0].cost < trials[0].cost - RELEASE_GAIN):
                trials, kept = freed, guess
                f = float((kept.focal_px * np.exp(freed[0].net.lens[:, 0]))[0])
                notices = [
                    Notice(
                        code="focal_doubtful",
                        text=f"EXIF's focal length ({photos[0].focal_px or 0:.0f} px) does not fit the marks,"
                        f" which give {f:.0f} px: it was solved from the marks alone",
                    )
                ]
                free = kept
        if notices:
            prior = free
    if not trials:
        raise InputError(f"{file}: {_advice(photos, sights)}")
    best = trials[0]
    n_photos, n_marks = int(best.net.posed.sum()), int(best.net.known.sum())
    if n_photos < 2 or n_marks < LEAST_MARKS or best.explained < LEAST_EXPLAINED:
        raise InputError(f"{file}: {_advice(photos, sights)}")
    for other in trials[1:]:
        if other.cost - best.cost < TWIN_COST and _apart(best.net, other.net) > TWIN_APART:
            raise InputError(
                f"{file}: the marks fit two different houses equally well; {_advice(photos, sights)}"
            )
    return best, prior, notices


def _drawn(trial: Trial, prior: LensPrior) -> bool:
    """Whether the marks draw a lens far from what EXIF says of it."""
    return bool((np.abs(trial.net.lens[:, 0]) > DRAWN * prior.focal_sd).any())


def _advice(photos: list[Photo], sights: Sights) -> str:
    """Which marks to add, for a person on site."""
    n = len(photos)
    by_photo = [set(sights.mark[sights.photo == i].tolist()) for i in range(n)]
    pairs = [(len(by_photo[i] & by_photo[k]), i, k) for i in range(n) for k in range(i + 1, n)]
    if max(pairs)[0] < 6:
        shared, i, k = max(pairs)
        return (
            f"photos share too few marks (at most {shared}, {photos[i].name} and {photos[k].name}):"
            " mark 6 or more corners, not all on one plane, that both show"
        )
    weakest = min(range(n), key=lambda i: len(by_photo[i]))
    return (
        "the photos cannot be placed by their marks: check that a name means one place and that all photos"
        " show one house; mark more corners that neighbouring photos share, first in"
        f" {photos[weakest].name} ({len(by_photo[weakest])} now)"
    )


def _apart(one: Net, other: Net) -> float:
    """Root mean square distance of two nets' common points after a similarity, by the size of the first."""
    both = one.known & other.known
    if both.sum() < LEAST_MARKS:
        return 0.0
    a, b = one.points[both], other.points[both]
    a, b = a - a.mean(axis=0), b - b.mean(axis=0)
    u, s, vt = np.linalg.svd(b.T @ a)
    mirror = np.array([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    scale = float((s * mirror).sum() / (b * b).sum())
    away = a - scale * b @ (u * mirror) @ vt
    return float(np.sqrt((away**2).sum() / (a**2).sum()))


def _lengths(known: Sequence[KnownLength], names: tuple[str, ...], net: Net, file: str) -> list[Length]:
    row = {name: j for j, name in enumerate(names)}
    found = []
    missing = []
    for length in known:
        ends = [name for end in length.ends for name in end]
        absent = [name for name in ends if name not in row or not net.known[row[name]]]
        if absent:
            missing.append(f'{length.name}: mark "{absent[0]}" is not in two placed photos')
            continue
        first, second = (tuple(row[name] for name in end) for end in length.ends)
        found.append(Length(name=length.name, ends=(first, second), length_m=length.length_m, u_m=length.u_m))
    if not found:
        why = f" ({missing[0]})" if missing else ""
        raise InputError(
            f"{file}: no known length between marks{why}; give a [[reference]] whose two ends are each marked"
            " in two or more photos"
        )
    return found


def _scaled(net: Net, lengths: list[Length]) -> Net:
    """The net at the size that the known lengths give it, the middle one where they differ."""
    ratio = [
        length.length_m
        / float(np.linalg.norm(np.subtract(*(net.points[list(end)].mean(axis=0) for end in length.ends))))
        for length in lengths
    ]
    scale = float(np.median(ratio))
    return replace(net, centre=net.centre * scale, points=net.points * scale)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Blunder:
    photo: int
    mark: int
    residual_px: float
    sd: float

    @staticmethod
    def of(solved: Solved, row: int, sd: float) -> _Blunder:
        """A row of the marks that were used."""
        return _Blunder(
            photo=int(solved.sights.photo[row]),
            mark=int(solved.sights.mark[row]),
            residual_px=float(np.linalg.norm(solved.residual_px[row])),
            sd=sd,
        )


def _without_blunders(
    net: Net,
    prior: LensPrior,
    sights: Sights,
    photos: list[Photo],
    names: tuple[str, ...],
    file: str,
) -> tuple[Solved, list[_Blunder]]:
    """Adjusted, with marks left out that contradict the others, one at a time, worst first."""
    blunders: list[_Blunder] = []
    limit = float(-ndtri(FALSE_ALARMS / 2 / (2 * len(sights.photo))))
    start = judged(adjusted(net, prior, sights, robust=True), prior, sights)
    wild = np.linalg.norm(start.residual_px, axis=1) / start.sights.u_px
    out = np.flatnonzero(wild > WILD)
    solved, size = start, wild
    while True:
        blunders += [_Blunder.of(solved, int(row), float(size[row])) for row in out]
        if len(blunders) > MOST_BLUNDERS * len(sights.photo) + 1:
            raise InputError(
                f"{file}: {len(blunders)} marks contradict the others, first"
                f' "{names[blunders[0].mark]}" in {photos[blunders[0].photo].name}: check that one name means'
                " one place in all photos, and that all photos show one house"
            )
        kept = solved.sights.rows(~np.isin(np.arange(len(solved.sights.photo)), out))
        solved = solve(_still_placed(solved.net, kept), prior, kept)
        size, checked = standardised(solved)
        size = np.where(checked > LEAST_CHECK, size, 0.0)
        if size.max() <= limit:
            return solved, blunders
        out = np.array([size.argmax()])


def _still_placed(net: Net, sights: Sights) -> Net:
    """The net without photos and points that have too few marks left."""
    posed, known = net.posed.copy(), net.known.copy()
    while True:
        on = posed[sights.photo] & known[sights.mark]
        n_photo = np.bincount(sights.photo[on], minlength=len(posed))
        n_mark = np.bincount(sights.mark[on], minlength=len(known))
        now = posed & (n_photo >= LEAST_MARKS - 1), known & (n_mark >= 2)
        if (now[0] == posed).all() and (now[1] == known).all():
            return replace(net, posed=posed, known=known)
        posed, known = now


def standardised(solved: Solved) -> tuple[Array, Array]:
    """Residuals of marks in their own standard deviations, and the share of an error that they show.

    Notes
    -----
    The larger of x and y.  The covariance of residuals is the marks' less that of what was fitted to them.
    """
    leverage = np.einsum("kq,kq->k", solved.design @ solved.inverse, solved.design)
    shown = np.clip(1 - leverage, 0.0, 1.0).reshape(-1, 2)
    size = np.abs(solved.residual_px) / solved.sights.u_px[:, None] / np.sqrt(np.maximum(shown, 1e-6))
    return size.max(axis=1), shown.min(axis=1)


def _told(blunder: _Blunder, photos: list[Photo], names: tuple[str, ...]) -> Notice:
    photo, mark = photos[blunder.photo].name, names[blunder.mark]
    return Notice(
        code="mark_contradicts",
        text=f'mark "{mark}" in {photo} is {blunder.residual_px:.0f} px from where the other photos have it'
        f" ({blunder.sd:.0f} standard deviations); it was not used: check it",
        about=(photo, mark),
    )


def _check_lengths(free: Solved, lengths: list[Length], file: str) -> None:
    """Refuse known lengths that contradict each other by the size that each would give the block."""
    if len(lengths) < 2:
        return
    net, layout = free.net, free.layout
    rows = np.zeros((len(lengths), layout.size))
    size = np.zeros(len(lengths))
    for r, length in enumerate(lengths):
        start, end = (net.points[list(end)].mean(axis=0) for end in length.ends)
        distance = float(np.linalg.norm(end - start))
        size[r] = np.log(length.length_m / distance)
        for sign, group in zip((-1, 1), length.ends, strict=True):
            for point in group:
                at = layout.first_point + 3 * layout.point_of[point]
                rows[r, at : at + 3] += sign * (end - start) / distance**2 / len(group)
    own = np.diag([(length.u_m / length.length_m) ** 2 for length in lengths])
    weight = np.linalg.inv(rows @ free.inverse @ rows.T + own)
    mean = float(weight.sum(axis=0) @ size / weight.sum())
    if (size - mean) @ weight @ (size - mean) <= chdtri(len(lengths) - 1, CONTRADICTION):
        return
    listed = ", ".join(
        f"{length.name} {length.length_m:.3f} m (the marks: {length.length_m * np.exp(mean - s):.3f} m)"
        for length, s in zip(lengths, size, strict=True)
    )
    worst = lengths[int(np.abs(size - np.median(size)).argmax())].name if len(lengths) > 2 else "both"
    raise InputError(
        f"{file}: known lengths contradict each other: {listed}; measure {worst} again and check the marks at"
        " their ends, or state the uncertainty that they have"
    )


def _levelled(
    solved: Solved,
    prior: LensPrior,
    photos: list[Photo],
    names: tuple[str, ...],
    marks: Marks,
    lengths: list[Length],
    left_out: list[tuple[str, str]],
    notices: list[Notice],
) -> MarkedBlock:
    net, layout = solved.net, solved.layout
    points = net.points[layout.points]
    placed = tuple(names[j] for j in layout.points)
    # marks that scatter more than they say widen everything (Birge's ratio), fewer observations less surely
    excess = max(1.0, solved.cost / max(solved.freedom, 1))
    covariance = excess * solved.points_covariance()
    seen = of_cameras(net.rotation[layout.photos])
    for what, direction, sd in _plumb_lines(placed, points, covariance):
        seen += plumb(what, direction, sd)
    unplaced = [photos[i].name for i in np.flatnonzero(~net.posed)]
    left_out = [*left_out, *((name, "its marks do not fit those of the other photos") for name in unplaced)]
    if excess > SCATTERED:
        notices.append(
            Notice(
                code="marks_scatter",
                text=f"marks scatter {np.sqrt(excess):.1f} times as much as their u_px says; all bounds are"
                " wider by that",
            )
        )
    row_photo = np.full(len(photos), -1)
    row_photo[layout.photos] = np.arange(len(layout.photos))
    used = solved.sights
    residual = np.linalg.norm(solved.residual_px, axis=1)
    n_plumb = sum(1 for level in seen if level.what) // 2
    cameras = f"{len(layout.photos)} cameras"
    block = Block(
        photos=tuple(_posed(photos[i], net, prior, int(i)) for i in layout.photos),
        points=points.copy(),
        seen_point=layout.point_of[used.mark].astype(np.int32),
        seen_photo=row_photo[used.photo].astype(np.int32),
        origin=np.zeros(3),
        crs=None,
        scale_u=scale_sd(points, covariance),
        tilt_u_rad=np.inf,
        scale_from=", ".join(f'"{length.name}"' for length in lengths) + ", adjusted with the marks",
        level_from=f"{n_plumb} plumb lines and {cameras}" if n_plumb else cameras,
        left_out=tuple(left_out),
        notices=tuple(notices),
    )
    lying = MarkedBlock(
        block=block,
        names=placed,
        xyz=points,
        covariance=covariance,
        up_covariance=np.eye(3),
        level=(),
        residual_px={
            (photos[i].name, names[j]): float(r)
            for i, j, r in zip(used.photo, used.mark, residual, strict=True)
        },
    )
    standing, refused = turned(lying, seen)
    crooked = [
        Notice(code="not_plumb", text=f"{what} is not plumb by the others; it was not used for the vertical")
        for what in refused
    ]
    told = (*standing.block.notices, *crooked)
    return replace(standing, block=replace(standing.block, notices=told))


def turned(marked: MarkedBlock, more: Sequence[Level]) -> tuple[MarkedBlock, tuple[str, ...]]:
    """A block turned upright by all that says where up is, its lowest mark at height zero.

    Parameters
    ----------
    marked : MarkedBlock
    more : sequence of Level
        Beside what the block was turned by before, in its frame.

    Returns
    -------
    marked : MarkedBlock
    refused : tuple of str
        What should be plumb or level and is not.
    """
    seen = (*marked.level, *more)
    photos = marked.block.photos
    vertical: Upright = upright(seen, np.array([photo.rotation for photo in photos]), marked.xyz)
    turn = _turn_up(vertical.up)
    xyz = marked.xyz @ turn.T
    shift = np.array([*xyz[:, :2].mean(axis=0), xyz[:, 2].min()])
    xyz = xyz - shift
    big = np.kron(np.eye(len(xyz)), turn)
    inner = inner_constraints(xyz, scale=False)
    up_covariance = turn @ vertical.covariance @ turn.T
    placed = tuple(
        replace(
            photo,
            rotation=photo.rotation @ turn.T,
            translation=photo.translation + photo.rotation @ turn.T @ shift,
        )
        for photo in photos
    )
    block = replace(
        marked.block,
        photos=placed,
        points=marked.block.points @ turn.T - shift,
        tilt_u_rad=vertical.u_rad,
    )
    return (
        replace(
            marked,
            block=block,
            xyz=xyz,
            covariance=inner @ (big @ marked.covariance @ big.T) @ inner.T,
            up_covariance=up_covariance,
            level=tuple(replace(level, direction=turn @ level.direction) for level in seen),
        ),
        vertical.refused,
    )


def _plumb_lines(names: tuple[str, ...], points: Array, covariance: Array) -> list[tuple[str, Array, float]]:
    """Pairs of marks NAME.top and NAME.foot: direction and doubt."""
    row = {name: j for j, name in enumerate(names)}
    found = []
    for name, top in row.items():
        if not name.endswith(".top") or name[:-4] + ".foot" not in row:
            continue
        foot = row[name[:-4] + ".foot"]
        way = points[top] - points[foot]
        difference = np.zeros((3, covariance.shape[0]))
        difference[:, 3 * top : 3 * top + 3], difference[:, 3 * foot : 3 * foot + 3] = np.eye(3), -np.eye(3)
        spread = difference @ covariance @ difference.T
        sd = float(np.sqrt(np.linalg.eigvalsh(spread)[-1])) / float(np.linalg.norm(way))
        found.append((name[:-4], way, float(np.hypot(sd, PLUMB_SD))))
    return found


def _turn_up(up: Array) -> Array:
    """A rotation that takes `up` to z."""
    across = np.cross(up, [0.0, 0.0, 1.0])
    sine, cosine = float(np.linalg.norm(across)), float(up[2])
    if sine < 1e-12:
        return np.diag([1.0, np.sign(cosine), np.sign(cosine)])
    x, y, z = across / sine
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.asarray(np.eye(3) + sine * k + (1 - cosine) * k @ k)


def inner_constraints(points: Array, *, scale: bool) -> Array:
    """The projection (3 p, 3 p) that takes from changes of points what moves, turns or sizes them as a whole.

    References
    ----------
    .. [1] P. Meissl, "Zusammenfassung und Ausbau der inneren Fehlertheorie eines Punkthaufens," 1969; the
       S-transformation of W. Baarda, 1973 (from memory).
    """
    basis, *_ = np.linalg.qr(helmert(points, scale=scale))
    return np.asarray(np.eye(3 * len(points)) - basis @ basis.T)


def helmert(points: Array, *, scale: bool) -> Array:
    """Changes of points (3 p, 6 or 7) by unit shifts, small turns, and a relative scale."""
    away = points - points.mean(axis=0)
    columns = [np.tile(axis, len(points)) for axis in np.eye(3)]
    columns += [np.cross(axis, away).ravel() for axis in np.eye(3)]
    if scale:
        columns.append(away.ravel())
    return np.column_stack(columns)


def scale_sd(points: Array, covariance: Array) -> float:
    """Standard uncertainty, relative, of the size of points (p, 3) with covariance (3 p, 3 p)."""
    away = (points - points.mean(axis=0)).ravel()
    row = away / float(away @ away)
    return float(np.sqrt(max(float(row @ covariance @ row), 0.0)))


def _posed(photo: Photo, net: Net, prior: LensPrior, i: int) -> PosedPhoto:
    group = prior.of_photo[i]
    lens = net.lens[group]
    return PosedPhoto(
        name=photo.name,
        path=photo.path,
        camera=Camera(
            width_px=photo.width_px,
            height_px=photo.height_px,
            focal_px=float(prior.focal_px[group] * np.exp(lens[0])),
            centre_px=(
                float(prior.centre_px[group, 0] + lens[1]),
                float(prior.centre_px[group, 1] + lens[2]),
            ),
            k1=float(lens[3]),
            k2=float(lens[4]),
        ),
        rotation=net.rotation[i].copy(),
        translation=-net.rotation[i] @ net.centre[i],
    )
