"""A first arrangement of photos and marks: a pair, then photo by photo, from several starts."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..scene import Array
from .bundle import LensPrior, Net, Sights, adjusted, project
from .model import Camera
from .resection import LEAST_OF_PHOTO, LEAST_OF_PLANE, pair_poses, photo_poses, triangulate

MOST_PAIRS = 10  # to start from
MOST_TRIALS = 12  # arrangements in all
ENOUGH_STRAIN = 1.3  # root mean square residual in standard deviations of an arrangement that explains all
FEW_PHOTOS = 5  # of so few, marks may fit two arrangements: all answers of a pair are looked at
UNEXPLAINED = 36.0  # what a mark costs that is placed nowhere, or is further off than six standard deviations
MOST_POINTS_TRIED = 12  # for a mark that its photos disagree on
EVERY = 4  # photos, after the first few, between adjustments while more are added
FIRST_STEPS, LATER_STEPS = 25, 12  # of an adjustment on the way
CLOSE_RAD = (
    0.03  # 35 px of a telephone's 1600 wide picture: a photo's marks against points that are known so far
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trial:
    """An arrangement."""

    net: Net
    cost: float  # robust sum of squares in standard deviations, unexplained marks and the lens included
    strain: float  # root of cost by mark and coordinate
    explained: float  # share of the marks that have a place


def assemble(
    sights: Sights, prior: LensPrior, rng: np.random.Generator, *, most: int = MOST_TRIALS
) -> list[Trial]:
    """Arrangements, best first.

    Parameters
    ----------
    sights : Sights
    prior : LensPrior
    rng : Generator
    most : int
        Arrangements that are tried.

    Returns
    -------
    list of Trial
        More than one only of those that were tried until all marks were explained; empty if no pair of photos
        can be placed.
    """
    rays = _rays(sights, prior)
    n_photos, n_marks = len(prior.of_photo), int(sights.mark.max()) + 1
    row = np.full((n_photos, n_marks), -1)
    row[sights.photo, sights.mark] = np.arange(len(sights.photo))
    seen = row >= 0
    shared = seen.astype(int) @ seen.T.astype(int)
    pairs = [
        (int(shared[i, k]), i, k)
        for i in range(n_photos)
        for k in range(i + 1, n_photos)
        if shared[i, k] >= LEAST_OF_PLANE
    ]
    trials: list[Trial] = []
    n_tried = 0
    for _, i, k in _spread_out(pairs, sights, row):
        both = np.flatnonzero(seen[i] & seen[k])
        for pose in pair_poses(rays[row[i, both]], rays[row[k, both]], rng):
            n_tried += 1
            net = _begun(n_photos, n_marks, len(prior.focal_px), i, k, pose)
            trials.append(_grown(net, sights, prior, rays, row, rng))
            if n_photos > FEW_PHOTOS and trials[-1].strain < ENOUGH_STRAIN:
                break
        trials.sort(key=lambda trial: trial.cost)
        if (trials and trials[0].strain < ENOUGH_STRAIN) or n_tried >= most:
            break
    return trials


def _rays(sights: Sights, prior: LensPrior) -> Array:
    rays = np.empty((len(sights.photo), 3))
    for group in range(len(prior.focal_px)):
        own = prior.of_photo[sights.photo] == group
        camera = Camera(
            width_px=1,
            height_px=1,
            focal_px=float(prior.focal_px[group]),
            centre_px=(float(prior.centre_px[group, 0]), float(prior.centre_px[group, 1])),
        )
        rays[own] = camera.rays(sights.xy[own])
    return rays


def _spread_out(
    pairs: list[tuple[int, int, int]], sights: Sights, row: npt.NDArray[np.int64]
) -> list[tuple[int, int, int]]:
    """Pairs to start from: many shared marks first, then those whose marks moved most."""

    def moved(i: int, k: int) -> float:
        both = np.flatnonzero((row[i] >= 0) & (row[k] >= 0))
        a, b = sights.xy[row[i, both]], sights.xy[row[k, both]]
        a, b = a - a.mean(axis=0), b - b.mean(axis=0)
        size = np.sqrt((a**2).sum() + (b**2).sum())
        return float(np.linalg.norm(a / np.linalg.norm(a) - b / np.linalg.norm(b)) * min(size / 100, 1))

    return sorted(pairs, key=lambda p: (-min(p[0], 8), -moved(p[1], p[2]), p))[:MOST_PAIRS]


def _begun(n_photos: int, n_marks: int, n_lenses: int, i: int, k: int, pose: tuple[Array, Array]) -> Net:
    rotation = np.tile(np.eye(3), (n_photos, 1, 1))
    centre = np.zeros((n_photos, 3))
    rotation[k], centre[k] = pose
    posed = np.zeros(n_photos, dtype=bool)
    posed[[i, k]] = True
    return Net(
        lens=np.zeros((n_lenses, 5)),
        rotation=rotation,
        centre=centre,
        points=np.zeros((n_marks, 3)),
        posed=posed,
        known=np.zeros(n_marks, dtype=bool),
    )


def _grown(
    net: Net,
    sights: Sights,
    prior: LensPrior,
    rays: Array,
    row: npt.NDArray[np.int64],
    rng: np.random.Generator,
) -> Trial:
    """The arrangement with every photo that fits."""
    net = _with_points(net, rays, row)
    if net.known.sum() >= LEAST_OF_PHOTO:
        net = adjusted(net, prior, sights, robust=True, most_steps=FIRST_STEPS)
    unfit: set[int] = set()
    added = 0
    while True:
        count = ((row >= 0) & net.known).sum(axis=1)
        open_ = [p for p in np.flatnonzero(~net.posed) if count[p] >= LEAST_OF_PHOTO and p not in unfit]
        if not open_:
            break
        p = max(open_, key=lambda q: (count[q], -q))
        own = np.flatnonzero((row[p] >= 0) & net.known)
        placed = _placed(net, int(p), rays[row[p, own]], net.points[own], rng)
        if placed is None:
            unfit.add(int(p))
            continue
        added += 1
        net = _with_points(placed, rays, row)
        unfit.clear()
        if added <= EVERY or added % EVERY == 0:
            net = adjusted(net, prior, sights, robust=True, most_steps=LATER_STEPS)
    if net.known.sum() >= LEAST_OF_PHOTO:
        net = adjusted(net, prior, sights, robust=True)
    return _weighed(net, sights, prior)


def _placed(net: Net, p: int, rays: Array, points: Array, rng: np.random.Generator) -> Net | None:
    for rotation, centre in photo_poses(rays, points, rng):
        seen = (points - centre) @ rotation.T
        angle = np.arctan2(np.linalg.norm(np.cross(rays, seen), axis=1), (rays * seen).sum(axis=1))
        if np.median(angle) < CLOSE_RAD:
            rotations, centres, posed = net.rotation.copy(), net.centre.copy(), net.posed.copy()
            rotations[p], centres[p], posed[p] = rotation, centre, True
            return replace(net, rotation=rotations, centre=centres, posed=posed)
    return None


def _with_points(net: Net, rays: Array, row: npt.NDArray[np.int64]) -> Net:
    """The net with every mark that two placed photos or more show, where most of them have it."""
    points, known = net.points.copy(), net.known.copy()
    for j in range(len(known)):
        photos = np.flatnonzero((row[:, j] >= 0) & net.posed)
        if len(photos) < 2:
            continue
        own, rotations, centres = rays[row[photos, j]], net.rotation[photos], net.centre[photos]

        def near(
            point: Array, own: Array = own, rotations: Array = rotations, centres: Array = centres
        ) -> int:
            seen = (rotations @ (point - centres)[:, :, None])[:, :, 0]
            across = np.linalg.norm(np.cross(own, seen), axis=1)
            return int((np.arctan2(across, (own * seen).sum(axis=1)) < CLOSE_RAD / 2).sum())

        if known[j] and near(points[j]) > len(photos) / 2:
            continue
        found = [
            point
            for group in [list(range(len(photos))), *_pairs(len(photos))]
            if (point := triangulate(own[group], rotations[group], centres[group])) is not None
        ]
        if found:
            points[j], known[j] = max(found, key=near), True
    return replace(net, points=points, known=known)


def _pairs(n: int) -> list[list[int]]:
    """Pairs of n photos, not more than `MOST_POINTS_TRIED`, the far ones among them."""
    every = [[i, k] for i in range(n) for k in range(i + 1, n)]
    return every[:: max(1, len(every) // MOST_POINTS_TRIED)] if n > 2 else []


def _weighed(net: Net, sights: Sights, prior: LensPrior) -> Trial:
    placed = net.posed[sights.photo] & net.known[sights.mark]
    cost = UNEXPLAINED * float((~placed).sum())
    own = sights.rows(placed)
    if len(own.photo):
        pixel, camera, _ = project(net, prior, own)
        square = (((pixel - own.xy) / own.u_px[:, None]) ** 2).sum(axis=1)
        square = np.where(camera[:, 2] > 0, np.nan_to_num(square, nan=UNEXPLAINED), UNEXPLAINED)
        cost += float(np.minimum(square, UNEXPLAINED).sum())
    cost += float(((net.lens[:, 0] / prior.focal_sd) ** 2).sum())
    return Trial(
        net=net,
        cost=cost,
        strain=float(np.sqrt(cost / (2 * len(sights.photo)))),
        explained=float(placed.mean()),
    )
