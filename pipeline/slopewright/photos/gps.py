"""What the cameras' receivers say of size, level and north: little, and only where photos spread out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..scene import Array, lock
from .mapping import gps_metres
from .placed import Model
from .read import Photo

MIN_PHOTOS = 4  # three fix size, level and north; the fourth tells whether they fit
LEAST_SD_M = 2.0  # of a position, each way, however well they fit: their errors drift together
DRIFT = 1.5  # on all uncertainties, for the same reason; scales of three sets were off by 0.5 to 3.3 %
LEAST_SCALE_U = 0.03
FIT_ROUNDS = 20  # of weighing outliers down


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GpsFit:
    """A model laid onto the positions of its cameras."""

    metres: float  # in a unit of the model
    scale_u: float  # relative
    rotation: Array  # (3, 3) model to east, north, up
    level_information: Array  # (3, 3) of small turns of the frame of the model [1/rad²]
    north_u_rad: float
    n_photos: int

    def __post_init__(self) -> None:
        lock(self.rotation, self.level_information)


def fit_gps(model: Model, photos: dict[str, Photo]) -> GpsFit | None:
    """Lay a model onto the positions that EXIF has; None where too few have one, or they do not spread.

    References
    ----------
    .. [1] S. Umeyama, "Least-squares estimation of transformation parameters between two point patterns,"
       IEEE Trans. PAMI 13(4), 376-380, 1991, doi:10.1109/34.88573.
    """
    located = [i for i, name in enumerate(model.names) if photos[name].gps is not None]
    if len(located) < MIN_PHOTOS:
        return None
    there = gps_metres([photos[model.names[i]] for i in located])
    here = model.centres[located]
    weight = np.ones(len(located))
    for _ in range(FIT_ROUNDS):
        metres, rotation, shift = similarity(here, there, weight)
        miss = np.linalg.norm(metres * here @ rotation.T + shift - there, axis=1)
        weight = 1 / np.maximum(miss, max(float(np.median(miss)), LEAST_SD_M))
    sd = DRIFT * max(float(np.sqrt((miss**2).mean() / 3)), LEAST_SD_M)
    spread = metres * (here - here.mean(axis=0))
    if np.linalg.svd(spread, compute_uv=False)[1] < sd * np.sqrt(len(located)):
        return None  # on a line, or all in one place: neither level nor north follows
    moments = spread.T @ spread
    information = (np.trace(moments) * np.eye(3) - moments) / sd**2
    up = rotation[2]
    return GpsFit(
        metres=metres,
        scale_u=max(LEAST_SCALE_U, sd / float(np.sqrt(np.trace(moments)))),
        rotation=rotation,
        level_information=information,
        north_u_rad=float(1 / np.sqrt(up @ information @ up)),
        n_photos=len(located),
    )


def similarity(here: Array, there: Array, weight: Array) -> tuple[float, Array, Array]:
    """Scale, rotation and shift that lay points (n, 3) onto others, weighted."""
    w = weight / weight.sum()
    a, b = here - w @ here, there - w @ there
    u, s, vt = np.linalg.svd((b * w[:, None]).T @ a)
    mirror = np.array([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    rotation = (u * mirror) @ vt
    scale = float((s * mirror).sum() / (w @ (a**2).sum(axis=1)))
    return scale, rotation, w @ there - scale * rotation @ (w @ here)
