"""photos/cameras.json: where each photo was taken, with which lens, and which photos were not used.

World: the local frame of roof.json, metres, z up; the rest is in `NOTE`, which the file carries.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from .model import Block, PosedPhoto

CAMERAS_FILE = "photos/cameras.json"
NOTE = (
    "x_camera = R x_world + t [m]; x right, y down, z ahead; x / z and y / z are bent by 1 + k1 r^2 + k2"
    " r^4, then"
    " K; pixels of the photo as displayed, (0, 0) the centre of the first one"
)


def cameras_json(block: Block) -> bytes:
    """The content of cameras.json."""
    content = {
        "format": "slopewright-cameras",
        "version": 1,
        "note": NOTE,
        "scale": {"u": block.scale_u, "from": block.scale_from},
        "level": {"u_deg": float(np.rad2deg(block.tilt_u_rad)), "from": block.level_from},
        "photos": [_photo(photo) for photo in block.photos],
        "left_out": [{"name": name, "why": why} for name, why in block.left_out],
    }
    return (json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _photo(photo: PosedPhoto) -> dict[str, Any]:
    camera = photo.camera
    x, y = camera.centre_px
    return {
        "name": photo.name,
        "width_px": camera.width_px,
        "height_px": camera.height_px,
        "K": [[camera.focal_px, 0.0, x], [0.0, camera.focal_px, y], [0.0, 0.0, 1.0]],
        "k1": camera.k1,
        "k2": camera.k2,
        "R": photo.rotation.tolist(),
        "t": photo.translation.tolist(),
        "centre": photo.centre.tolist(),
    }
