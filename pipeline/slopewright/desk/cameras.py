"""cameras.json of a run, as the page computes with it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from ..errors import InputError


def seen_cameras(path: Path) -> list[dict[str, Any]]:
    """The cameras of a run: OpenCV axes, pixels of the upright photo; none where there is no such file.

    Raises
    ------
    InputError
        If the file is not as the photo stage writes it.
    """
    if not path.is_file():
        return []
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        return [_camera(photo) for photo in content["photos"]]
    except (ValueError, KeyError, TypeError, IndexError) as error:
        raise InputError(f"{path.name}: not as this version writes it, measure the job again") from error


def _camera(photo: dict[str, Any]) -> dict[str, Any]:
    matrix = photo["K"]
    return {
        "name": photo["name"],
        "width": photo["width_px"],
        "height": photo["height_px"],
        "focal": matrix[0][0],
        "centre": [matrix[0][2], matrix[1][2]],
        "k1": photo["k1"],
        "k2": photo["k2"],
        "rotation": photo["R"],
        "translation": photo["t"],
    }
