"""Draw the sample of `slopewright photo`: an invented gable wall, and marks as a person would set them.

python tests/photos/make_gable_wall.py sample_inputs/gable_wall
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from slopewright.photos.model import Camera

WIDTH, HEIGHT = 1600, 1200
CAMERA = Camera(width_px=WIDTH, height_px=HEIGHT, focal_px=1240.0, centre_px=(804.0, 596.0), k1=-0.03)
FOCAL_35MM = 27  # gives 1248 px
STAND, LOOK = np.array([0.6, -9.5, 1.6]), np.array([3.9, 0.0, 2.7])
HALF, EAVE, PEAK = 4.0, 2.9, 2.9 + 4.0 * 7 / 12  # a wall 8 m wide, 7 in 12, in x and z
DOOR = (1.1, 0.25, 0.92, 2.032)  # left, foot, width, height: 6 ft 8 in
WINDOWS = ((4.6, 1.1, 1.5, 1.2), (3.5, 3.4, 1.0, 0.9))
COURSE = 0.18  # of the siding


def pose() -> np.ndarray:
    """World to camera."""
    z = LOOK - STAND
    z /= np.linalg.norm(z)
    x = np.cross(z, [0, 0, 1.0])
    x /= np.linalg.norm(x)
    y = np.cross(z, x)
    roll = np.radians(1.2)
    c, s = np.cos(roll), np.sin(roll)
    return np.array([c * x + s * y, -s * x + c * y, z])


def pixel(x: float, z: float) -> np.ndarray:
    """Where a point of the wall falls."""
    seen = (np.array([[x, 0.0, z]]) - STAND) @ pose().T
    return CAMERA.project(seen)[0]


def colours(x: np.ndarray, z: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Colour of points of the wall's plane, (n, 3) linear light."""
    n = len(x)
    roof = EAVE + (HALF - np.abs(x - HALF)) * 7 / 12
    board = np.floor(z / COURSE)
    tone = 0.33 + 0.05 * ((board * 37) % 11) / 11
    shade = np.where(z / COURSE - board < 0.12, 0.55, 1.0)
    colour = np.outer(tone * shade, [0.95, 0.86, 0.70])
    corner = (x < 0.12) | (x > 2 * HALF - 0.12)
    colour[corner] = 0.72
    left, foot, w, h = DOOR
    frame = (np.abs(x - left - w / 2) < w / 2 + 0.09) & (z > foot - 0.05) & (z < foot + h + 0.09)
    colour[frame] = 0.75
    panel = (np.abs(x - left - w / 2) < w / 2) & (z > foot) & (z < foot + h)
    colour[panel] = [0.28, 0.05, 0.04]
    for wx, wz, ww, wh in WINDOWS:
        colour[(np.abs(x - wx - ww / 2) < ww / 2 + 0.07) & (np.abs(z - wz - wh / 2) < wh / 2 + 0.07)] = 0.75
        glass = (np.abs(x - wx - ww / 2) < ww / 2) & (np.abs(z - wz - wh / 2) < wh / 2)
        colour[glass] = [0.05, 0.07, 0.09]
        colour[glass & ((np.abs(x - wx - ww / 2) < 0.03) | (np.abs(z - wz - wh / 2) < 0.03))] = 0.75
    trim = (z > roof - 0.2 * np.hypot(12, 7) / 12) & (z <= roof)
    colour[trim] = 0.8
    outside = (x < 0) | (x > 2 * HALF) | (z > roof)
    colour[outside] = np.stack([0.25 + 0.02 * z, 0.42 + 0.02 * z, 0.75 + 0 * z], axis=1)[outside]
    overhang = outside & (z < EAVE + 0.1) & (z < 0.2)
    colour[overhang] = [0.1, 0.2, 0.05]
    ground = z < 0.2
    colour[ground] = [0.10, 0.19, 0.05]
    return colour * (1 + 0.05 * rng.normal(size=(n, 1)))


def drawn() -> np.ndarray:
    """The picture, (h, w, 3) sRGB."""
    rng = np.random.default_rng(5)
    fine = 3
    at = (np.arange(WIDTH * fine) + 0.5) / fine - 0.5
    picture = np.empty((HEIGHT, WIDTH, 3))
    rotation = pose()
    for top in range(0, HEIGHT, 100):
        down = (np.arange(100 * fine) + 0.5) / fine - 0.5 + top
        px, py = np.meshgrid(at, down)
        rays = CAMERA.rays(np.column_stack([px.ravel(), py.ravel()])) @ rotation
        t = -STAND[1] / np.maximum(rays[:, 1], 1e-6)
        x, z = STAND[0] + t * rays[:, 0], STAND[2] + t * rays[:, 2]
        light = colours(x, z, rng).reshape(100 * fine, WIDTH * fine, 3)
        picture[top : top + 100] = cv2.resize(light, (WIDTH, 100), interpolation=cv2.INTER_AREA)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.6).clip(0, 1)
    value = np.where(picture <= 0.0031308, 12.92 * picture, 1.055 * picture ** (1 / 2.4) - 0.055)
    value = value + 0.008 * rng.normal(size=value.shape)
    return np.rint(255 * value.clip(0, 1)).astype(np.uint8)


def marks() -> dict[str, tuple[float, float]]:
    """Names and points of the wall."""
    left, foot, w, h = DOOR
    far = 2 * HALF
    return {
        "level.1a": (0.12, 3 * COURSE),
        "level.1b": (left - 0.09, 3 * COURSE),
        "level.2a": (0.12, 15 * COURSE),
        "level.2b": (far - 0.12, 15 * COURSE),
        "level.3a": (left + w + 0.09, 5 * COURSE),
        "level.3b": (far - 0.12, 5 * COURSE),
        "upright.1a": (0.12, 0.4),
        "upright.1b": (0.12, 2.7),
        "upright.2a": (far - 0.12, 0.4),
        "upright.2b": (far - 0.12, 2.7),
        "known.a": (left, foot),
        "known.b": (left, foot + h),
        "rake west.a": (0.0, EAVE),
        "rake west.b": (HALF, PEAK),
        "rake east.a": (far, EAVE),
        "rake east.b": (HALF, PEAK),
        "wall.1": (0.0, 0.2),
        "wall.2": (far, 0.2),
        "wall.3": (far, EAVE),
        "wall.4": (HALF, PEAK),
        "wall.5": (0.0, EAVE),
    }


def main(folder: Path) -> None:
    """Write picture and marks."""
    folder.mkdir(parents=True, exist_ok=True)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = FOCAL_35MM
    Image.fromarray(drawn()).save(folder / "wall.jpg", quality=82, exif=exif)
    rng = np.random.default_rng(6)
    content = {
        "format": "slopewright-marks",
        "version": 1,
        "marks": [
            {
                "name": name,
                "u_px": 1.0,
                "photos": {"wall.jpg": [round(float(v), 1) for v in pixel(*at) + rng.normal(size=2)]},
            }
            for name, at in marks().items()
        ],
    }
    (folder / "marks.json").write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
