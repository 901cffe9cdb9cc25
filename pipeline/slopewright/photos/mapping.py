"""Structure from motion: which photos stand how to each other, up to size, place and turn.

The pictures are matched at the size that triage gives them; what comes out is in pixels of the whole photo.
"""

from __future__ import annotations

import itertools
import json
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from ..errors import InputError
from ..scene import Array
from .engine import ANSWER_FILE, KEYS, REQUEST_FILE, model_of
from .placed import Model
from .read import Photo
from .triage import UsablePhoto

SEED = 1  # any number: the same photos give the same cameras
ALL_PAIRS = 45  # photos up to which every pair is matched: a minute or two of work
GPS_NEIGHBOURS = 14  # of each photo; 12 to 16 joined every block that was tried
TIME_NEIGHBOURS = 10  # before and after
LOOP_PHOTOS = 24  # spread over the capture, all pairs of which are matched so that it closes
RUN_ENGINE = "import sys; from slopewright.photos.engine import main; main(sys.argv[1])"
EARTH_M = 6_371_000.0


def map_photos(photos: tuple[UsablePhoto, ...], *, focal_known: bool = True) -> tuple[Model, ...]:
    """Match photos and place them.

    Parameters
    ----------
    photos : UsablePhoto, ...
    focal_known : bool
        Whether to start from the focal lengths of EXIF.

    Returns
    -------
    Model, ...
        The pieces that came out, largest first; none where nothing matched.

    Raises
    ------
    InputError
        If the library gave up on these photos.
    """
    from PIL import Image

    with tempfile.TemporaryDirectory(prefix="slopewright-") as name:
        folder = Path(name)
        files = {f"{n:04d}.png": photo for n, photo in enumerate(photos)}
        for file, photo in files.items():
            Image.fromarray(photo.pixels).save(folder / file, compress_level=1)
        request = {
            "seed": SEED,
            "groups": _groups(files, focal_known=focal_known),
            "pairs": [(f"{a:04d}.png", f"{b:04d}.png") for a, b in pairs_of([p.photo for p in photos])],
        }
        (folder / REQUEST_FILE).write_text(json.dumps(request), encoding="utf-8")
        done = subprocess.run(
            [sys.executable, "-c", RUN_ENGINE, str(folder)],
            capture_output=True,
            text=True,
            errors="replace",
            check=False,
        )
        if done.returncode != 0:
            last = (done.stderr.strip().splitlines() or ["no message"])[-1]
            raise InputError(
                f"photos: matching and mapping ended with status {done.returncode} ({last[:200]});"
                " run again with fewer photos, or leave out those that look damaged"
            )
        with np.load(folder / ANSWER_FILE) as answer:
            n_models = int(answer["n_models"])
            found = [model_of({key: answer[f"{n}/{key}"] for key in KEYS}) for n in range(n_models)]
    return tuple(_whole(model, files) for model in found)


def pairs_of(photos: list[Photo]) -> list[tuple[int, int]]:
    """Which photos are worth matching: all pairs of few; of many, neighbours in place and time, and loops."""
    n = len(photos)
    if n <= ALL_PAIRS:
        return list(itertools.combinations(range(n), 2))
    wanted: set[tuple[int, int]] = set()
    order = sorted(range(n), key=lambda i: (photos[i].time or "", photos[i].name))
    for at, i in enumerate(order):
        wanted |= {_pair(i, j) for j in order[at + 1 : at + 1 + TIME_NEIGHBOURS]}
    some = [order[int(k)] for k in np.linspace(0, n - 1, LOOP_PHOTOS).round()]
    wanted |= {_pair(i, j) for i, j in itertools.combinations(some, 2)}
    located = [i for i in range(n) if photos[i].gps is not None]
    if len(located) > GPS_NEIGHBOURS:
        at_m = gps_metres([photos[i] for i in located])
        for k, i in enumerate(located):
            near = np.argsort(np.linalg.norm(at_m - at_m[k], axis=1), kind="stable")[1 : GPS_NEIGHBOURS + 1]
            wanted |= {_pair(i, located[j]) for j in near}
    return sorted(wanted)


def gps_metres(photos: list[Photo]) -> Array:
    """East, north and up [m] of photos that have GPS, from their middle; (n, 3)."""
    gps = np.array([photo.gps for photo in photos])
    middle = gps.mean(axis=0)
    latitude, longitude = np.deg2rad(gps[:, :2] - middle[:2]).T
    east = EARTH_M * np.cos(np.deg2rad(middle[0])) * longitude
    return np.column_stack([east, EARTH_M * latitude, gps[:, 2] - middle[2]])


def _pair(i: int, j: int) -> tuple[int, int]:
    return (i, j) if i < j else (j, i)


def _groups(files: dict[str, UsablePhoto], *, focal_known: bool) -> list[dict[str, object]]:
    """Photos of one camera at one zoom, size and turn, with the focal length at the matching size."""
    groups: dict[tuple[str, int, int], list[str]] = {}
    for file, usable in files.items():
        height, width = usable.pixels.shape[:2]
        groups.setdefault((usable.photo.camera, width, height), []).append(file)
    told: list[dict[str, object]] = []
    for (_, width, height), names in groups.items():
        photo = files[names[0]].photo
        focal = photo.focal_px * width / photo.width_px if focal_known and photo.focal_px else None
        told.append({"width": width, "height": height, "focal_px": focal, "photos": names})
    return told


def _whole(model: Model, files: dict[str, UsablePhoto]) -> Model:
    """A model with file names and pixels of the photos as they are, not as they were matched."""
    used = [files[name] for name in model.names]
    whole = np.array([(u.photo.width_px, u.photo.height_px) for u in used], dtype=np.float64)
    small = np.array([u.pixels.shape[1::-1] for u in used], dtype=np.float64)
    factor = whole / small
    lens = model.lens.copy()
    lens[:, 0] *= factor.mean(axis=1)
    lens[:, 1:3] = (lens[:, 1:3] + 0.5) * factor - 0.5
    return replace(
        model,
        names=tuple(u.photo.name for u in used),
        lens=lens,
        pixels=(model.pixels + 0.5) * factor[model.seen_photo] - 0.5,
    )
