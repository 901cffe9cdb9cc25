"""Cameras and where they stood: what the parts of this stage hand to each other.

Pixels are of the photo as displayed (EXIF turn applied), (0, 0) the centre of the first pixel.  Camera axes:
x right, y down, z forward.  World: metres, local, right-handed, z up.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from ..scene import Array, Notice, lock

UNDISTORT_STEPS = 20  # of the fixed point; the lenses of cameras and telephones converge in fewer


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """A pinhole with two terms of radial distortion.

    References
    ----------
    .. [1] D. C. Brown, Close-range camera calibration, Photogrammetric Engineering 37(8), 1971.
    """

    width_px: int
    height_px: int
    focal_px: float
    centre_px: tuple[float, float]  # principal point
    k1: float = 0.0
    k2: float = 0.0

    def project(self, xyz: Array) -> Array:
        """Points (n, 3) in camera axes to pixels (n, 2); not a number behind the camera."""
        depth = np.where(xyz[:, 2] > 0, xyz[:, 2], np.nan)
        flat = xyz[:, :2] / depth[:, None]
        squared = (flat**2).sum(axis=1)
        bent = flat * (1 + self.k1 * squared + self.k2 * squared**2)[:, None]
        return np.asarray(self.focal_px * bent + np.array(self.centre_px))

    def rays(self, pixels: Array) -> Array:
        """Pixels (n, 2) to directions (n, 3) with z = 1, camera axes, distortion removed."""
        bent = (pixels - np.array(self.centre_px)) / self.focal_px
        flat = bent.copy()
        for _ in range(UNDISTORT_STEPS):
            squared = (flat**2).sum(axis=1)
            flat = bent / (1 + self.k1 * squared + self.k2 * squared**2)[:, None]
        return np.column_stack([flat, np.ones(len(flat))])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PosedPhoto:
    """A photo that was placed: x_camera = rotation @ x_world + translation."""

    name: str  # file name, as marks.json has it
    path: Path
    camera: Camera
    rotation: Array  # (3, 3) world to camera
    translation: Array  # (3,) [m]

    def __post_init__(self) -> None:
        lock(self.rotation, self.translation)

    @property
    def centre(self) -> Array:
        """Where the camera stood, (3,) [m]."""
        return np.asarray(-self.rotation.T @ self.translation)

    def project(self, xyz: Array) -> Array:
        """World points (n, 3) [m] to pixels (n, 2); not a number behind the camera."""
        return self.camera.project(xyz @ self.rotation.T + self.translation)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """Photos placed together, metric and level, with what is doubtful about scale and vertical."""

    photos: tuple[PosedPhoto, ...]
    points: Array  # (n, 3) [m] tie points
    seen_point: npt.NDArray[np.int32]  # (m,) observations: row of `points` ...
    seen_photo: npt.NDArray[np.int32]  # ... and index of the photo that saw it
    origin: Array  # (3,) [m] of the local frame in `crs`, zeros where there is none
    crs: str | None
    scale_u: float  # standard uncertainty of all lengths, relative, shared by the whole job
    tilt_u_rad: float  # of the vertical, about each of two level axes
    scale_from: str  # for people: 'reference "staff" in 6 photos'
    level_from: str
    left_out: tuple[tuple[str, str], ...] = ()  # photo, why it is not used
    notices: tuple[Notice, ...] = ()

    def __post_init__(self) -> None:
        lock(self.points, self.seen_point, self.seen_photo, self.origin)
