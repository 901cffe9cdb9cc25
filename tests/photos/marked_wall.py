"""An invented gable wall with exact sizes, seen by a camera with distortion, and marked with noise.

The wall stands in x (right) and z (up), in metres; the camera is given by where it stands.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from slopewright.photos.marks import Mark, Marks
from slopewright.photos.model import Camera
from slopewright.photos.read import Photo

WALL = {  # 7.2 m wide, eaves at 3.0 m, a gable of 8 in 12 above them
    "level.1a": (0.1, 0.5),
    "level.1b": (7.1, 0.5),
    "level.2a": (0.1, 2.9),
    "level.2b": (7.1, 2.9),
    "level.3a": (0.1, 1.7),
    "level.3b": (7.1, 1.7),
    "upright.1a": (0.0, 0.3),
    "upright.1b": (0.0, 2.9),
    "upright.2a": (7.2, 0.3),
    "upright.2b": (7.2, 2.9),
    "known.a": (4.5, 0.3),
    "known.b": (4.5, 2.335),
    "rectangle.1": (4.5, 0.3),
    "rectangle.2": (5.42, 0.3),
    "rectangle.3": (5.42, 2.335),
    "rectangle.4": (4.5, 2.335),
    "rake.a": (0.0, 3.0),
    "rake.b": (3.6, 5.4),
    "eaves.a": (0.0, 3.0),
    "eaves.b": (7.2, 3.0),
    "gable.1": (0.0, 3.0),
    "gable.2": (7.2, 3.0),
    "gable.3": (3.6, 5.4),
}
DOOR_M = 2.035
TRUE = {
    "rake": (np.hypot(3.6, 2.4), np.degrees(np.arctan2(2.4, 3.6))),
    "eaves": (7.2, 0.0),
    "gable": (7.2 * 2.4 / 2, 7.2 + 2 * np.hypot(3.6, 2.4)),
}
CAMERA = Camera(width_px=2400, height_px=1800, focal_px=1850.0, centre_px=(1208.0, 893.0), k1=-0.03)


def pose(stand: tuple[float, float, float], look: tuple[float, float, float] = (3.6, 0.0, 2.6)):
    """Rotation world to camera and centre, the camera held level; x right, y into the wall, z up."""
    centre = np.array(stand, dtype=float)
    z = np.array(look) - centre
    z /= np.linalg.norm(z)
    x = np.cross(z, [0, 0, 1.0])
    x /= np.linalg.norm(x)
    return np.array([x, np.cross(z, x), z]), centre


def marked_wall(
    stand: tuple[float, float, float],
    rng: np.random.Generator,
    *,
    u_px: float = 1.5,
    leave_out: tuple[str, ...] = (),
    camera: Camera = CAMERA,
    built_sd_rad: float = 0.0,
) -> Marks:
    """Marks of the wall in `wall.jpg`; its level and upright lines may be built a little askew."""
    rotation, centre = pose(stand)
    marks = []
    lean = {name[:-1]: built_sd_rad * rng.normal() for name in WALL if name.startswith(("level", "upright"))}
    for name, (x, z) in WALL.items():
        if name.startswith(leave_out) if leave_out else False:
            continue
        if name[:-1] in lean and name.endswith("b"):
            x0, z0 = WALL[name[:-1] + "a"]
            c, s = np.cos(lean[name[:-1]]), np.sin(lean[name[:-1]])
            x, z = x0 + c * (x - x0) - s * (z - z0), z0 + s * (x - x0) + c * (z - z0)
        pixel = camera.project((np.array([[x, 0.0, z]]) - centre) @ rotation.T)[0]
        pixel = pixel + u_px * rng.normal(size=2)
        marks.append(
            Mark(name=name, u_px=max(u_px, 0.1), photos={"wall.jpg": (float(pixel[0]), float(pixel[1]))})
        )
    return Marks(file="marks.json", marks=tuple(marks))


def photo(focal_px: float | None = 1820.0, camera: Camera = CAMERA) -> Photo:
    """What the file says."""
    return Photo(
        name="wall.jpg",
        path=Path("wall.jpg"),
        width_px=camera.width_px,
        height_px=camera.height_px,
        camera="one",
        focal_px=focal_px,
        gps=None,
        time=None,
    )
