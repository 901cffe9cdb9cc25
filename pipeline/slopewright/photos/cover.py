"""Which sides of the house no photo shows, in words that a person on site can act on."""

from __future__ import annotations

import numpy as np

from ..scene import Array, Notice
from .model import Block

HIGH_RAD = float(np.deg2rad(40.0))  # photos from above this see all faces of a roof of usual pitch
GAP_RAD = float(np.deg2rad(75.0))  # an arc without photos that leaves a face seen only at a graze
POINTS_OF_COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
STEP_DEG = 8  # between photos that still join, from the ground


def open_sides(block: Block, *, north_known: bool) -> tuple[Notice, ...]:
    """A notice for each arc about the house from which no photo was taken.

    Parameters
    ----------
    block : Block
    north_known : bool
        Whether the second axis points north; otherwise the arc is told by the photos beside it.

    Returns
    -------
    tuple of Notice
        None where photos from high up see all faces.
    """
    centres = np.array([photo.centre for photo in block.photos])
    axes = np.array([photo.rotation[2] for photo in block.photos])
    middle = _looked_at(centres, axes)
    if from_above(block):
        return ()
    away = centres - middle
    flat = np.hypot(away[:, 0], away[:, 1])
    bearing = np.arctan2(away[:, 0], away[:, 1]) % (2 * np.pi)
    order = np.argsort(bearing)
    gaps = np.diff(np.append(bearing[order], bearing[order[0]] + 2 * np.pi))
    told = []
    for n in np.flatnonzero(gaps > GAP_RAD):
        before, after = block.photos[order[n]].name, block.photos[order[(n + 1) % len(order)]].name
        centre = (bearing[order[n]] + gaps[n] / 2) % (2 * np.pi)
        side = POINTS_OF_COMPASS[round(centre / (np.pi / 4)) % 8]
        where = f"from the {side}, " if north_known else ""
        text = (
            f"{where}between where {before} and {after} were taken (going clockwise), no photo is used over"
            f" {np.rad2deg(gaps[n]):.0f}°: faces on that side are not measured; take about"
            f" {int(np.ceil(np.rad2deg(gaps[n]) / STEP_DEG)) - 1} photos there, every {STEP_DEG}° round the"
            " house, from"
            f" {np.median(flat):.0f} m off, the whole roof in each"
        )
        told.append(Notice(code="side_open", text=text, about=(before, after)))
    return tuple(told)


def from_above(block: Block) -> bool:
    """Whether any photo looks at the house from high up."""
    centres = np.array([photo.centre for photo in block.photos])
    away = centres - _looked_at(centres, np.array([photo.rotation[2] for photo in block.photos]))
    return bool((np.arctan2(away[:, 2], np.hypot(away[:, 0], away[:, 1])) > HIGH_RAD).any())


def _looked_at(centres: Array, axes: Array) -> Array:
    """The point that the photos look at: nearest to all their axes."""
    across = np.eye(3) - axes[:, :, None] * axes[:, None, :]
    total = across.sum(axis=0) + 1e-3 * len(axes) * np.eye(3)  # axes that are all parallel meet nowhere
    pull = np.einsum("nij,nj->i", across, centres) + 1e-3 * len(axes) * centres.mean(axis=0)
    return np.asarray(np.linalg.solve(total, pull))
