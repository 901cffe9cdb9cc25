"""Photos placed to each other by what they show, before anyone knows how large or how level it all is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..scene import Array, lock


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Model:
    """Photos that stand firmly to each other, in a frame of any size and turn."""

    names: tuple[str, ...]
    camera: npt.NDArray[np.int64]  # (n,) photos with one number share their lens
    lens: Array  # (n, 5) focal length, principal point x, y [px of the whole photo], k1, k2
    rotation: Array  # (n, 3, 3) frame to camera
    translation: Array  # (n, 3)
    points: Array  # (p, 3)
    seen_point: npt.NDArray[np.int64]  # (m,)
    seen_photo: npt.NDArray[np.int64]  # (m,)
    pixels: Array  # (m, 2) of the whole photo

    def __post_init__(self) -> None:
        lock(self.camera, self.lens, self.rotation, self.translation, self.points)
        lock(self.seen_point, self.seen_photo, self.pixels)

    @property
    def centres(self) -> Array:
        """Where the cameras stood, (n, 3)."""
        return np.asarray(-np.einsum("nji,nj->ni", self.rotation, self.translation))
