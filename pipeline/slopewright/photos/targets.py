"""Printed targets as marks: their corners in all photos that show them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .board import detect
from .marks import Mark, Pixel
from .read import Photo, load_pixels
from .scale import board_corner


@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """Corners of targets, named by `board_corner`."""

    corners: tuple[Mark, ...]
    rim: dict[int, float]  # standard uncertainty of a target's side that its corners share, relative


def find_targets(names: tuple[str, ...], photos: dict[str, Photo], wanted: set[int]) -> Targets:
    """Look for printed targets in photos, at full size.

    Parameters
    ----------
    names : str, ...
        Of the photos to look at.
    photos : dict of str to Photo
    wanted : set of int
        Numbers of the targets that references name; without any, no photo is looked at.

    Returns
    -------
    Targets
    """
    seen: dict[tuple[int, int], dict[str, Pixel]] = {}
    doubt: dict[tuple[int, int], list[float]] = {}
    rims: dict[int, list[float]] = {}
    for name in names if wanted else ():
        found = detect(load_pixels(photos[name].path))
        for number in sorted(wanted & set(found)):
            board = found[number]
            rims.setdefault(number, []).append(2 * board.rim_px / board.side_px)
            for k, (x, y) in enumerate(board.corners):
                seen.setdefault((number, k), {})[name] = (float(x), float(y))
                doubt.setdefault((number, k), []).append(board.u_px)
    return Targets(
        corners=tuple(
            Mark(name=board_corner(*key), u_px=float(np.mean(doubt[key])), photos=pixels)
            for key, pixels in sorted(seen.items())
        ),
        rim={number: float(np.median(values)) for number, values in rims.items()},
    )
