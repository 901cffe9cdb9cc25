"""Printed targets in photos: AprilTags of the family 36h11, found and placed to a fraction of a pixel.

Pixels of the photo as displayed, (0, 0) the centre of the first pixel.  The corners of a target are those of
its black square, in the order of the printed sheet: top left, top right, bottom right, bottom left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..scene import Array, lock

CELLS = 8  # of the black square's side: six of the code and the rim, AprilTag 36h11
N_IDS = 587  # codes of the family
SMALLEST_SIDE_PX = 16.0  # two pixels a cell; below it edges run into each other
STRAIGHT_PX = 120.0  # over so much of a side no lens bends it by a tenth of a pixel
CELL_REACH = 0.6  # of a cell, on both sides of an edge: further, the blur of the next edge comes in
MOST_REACH_PX = 8.0  # far beyond any blur of a photo that is sharp enough to use
CORNER_GAP_PX = 2.5  # from a corner, within which its blur rounds the edge
FLOOR_U_PX = 0.05  # of a corner: what is left on exact renders without noise
RIM_PX = 0.15  # shift of all edges outward together: tone curves, clipped white, blur of the next edges
ROUNDS = 3  # of placing the edges: the first corners are whole pixels
FAR_PX = 3.0  # edges that move further than this from the first corners are none of the target's


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundBoard:
    """A target in one photo."""

    corners: Array  # (4, 2) [px]
    u_px: float  # standard uncertainty of each coordinate, independent between corners
    rim_px: float  # ... of a shift of all four edges outward together: it cancels between centres of targets

    def __post_init__(self) -> None:
        lock(self.corners)

    @property
    def side_px(self) -> float:
        """Mean length of the sides."""
        return float(np.linalg.norm(self.corners - np.roll(self.corners, -1, axis=0), axis=1).mean())

    @property
    def centre(self) -> Array:
        """Where the diagonals cross: the image of the target's middle, (2,) [px]."""
        a, b, c, d = self.corners
        return _crossing(a, c - a, b, d - b)


def detect(image: npt.NDArray[np.uint8]) -> dict[int, FoundBoard]:
    """Find printed targets.

    Parameters
    ----------
    image : array, shape (h, w) or (h, w, 3)
        Grey or colours of sRGB, 8 bits, as displayed.

    Returns
    -------
    dict of int to FoundBoard
        By the number of the target.  A number that stands in the photo twice is left out: which of the two is
        the one that was measured cannot be told.

    Raises
    ------
    InputError
        If the image has another shape.

    Notes
    -----
    Finders place corners on the grey values as stored, where white spreads into black: targets come out small
    by up to 0.4 px an edge.  Here each edge is placed on linear light, where the blur of lens and pixels is
    symmetric: on a profile across it, black inside and white outside, the edge is where the light that is
    there would end were it a step (integral of the profile; moment-preserving edge location).
    Corners are crossings of lines fitted to those, so blur does not round them.

    References
    ----------
    .. [1] E. Olson, "AprilTag: A robust and flexible visual fiducial system," ICRA 2011,
       doi:10.1109/ICRA.2011.5979561.
    .. [2] A. J. Tabatabai and O. R. Mitchell, "Edge location to subpixel values in digital imagery," IEEE
       PAMI 6(2), 1984, doi:10.1109/TPAMI.1984.4767502.
    .. [3] IEC 61966-2-1 (sRGB).
    """
    import cv2  # half a second, and only where there are photos

    if image.ndim == 3 and image.shape[2] == 3:
        grey = cv2.cvtColor(np.ascontiguousarray(image), cv2.COLOR_RGB2GRAY)
    elif image.ndim == 2:
        grey = np.ascontiguousarray(image)
    else:
        raise InputError(f"image: shape {image.shape}, need (h, w) or (h, w, 3)")
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    quads, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(grey)
    numbers = [] if ids is None else [int(n) for n in np.ravel(ids)]
    found = {}
    for number, quad in zip(numbers, quads, strict=True):
        start = np.asarray(quad, dtype=np.float64).reshape(4, 2)
        if numbers.count(number) == 1 and (board := _placed(grey, start, cv2)) is not None:
            found[number] = board
    return found


def _placed(grey: npt.NDArray[Any], start: Array, cv2: Any) -> FoundBoard | None:
    """A target with its edges on linear light; None where they are not to be seen."""
    sides = np.linalg.norm(start - np.roll(start, -1, axis=0), axis=1)
    if sides.min() < SMALLEST_SIDE_PX:
        return None
    reach = min(CELL_REACH * float(sides.min()) / CELLS, MOST_REACH_PX)
    low = np.floor(start.min(axis=0) - 2 * reach - 2).astype(int).clip(0)
    high = np.ceil(start.max(axis=0) + 2 * reach + 3).astype(int)
    light = _linear(grey[low[1] : high[1], low[0] : high[0]])
    corners = start - low
    u_px = FLOOR_U_PX
    for _ in range(ROUNDS):
        placed = [_corner(light, corners, k, reach, cv2) for k in range(4)]
        if any(corner is None for corner in placed):
            return None
        corners = np.array([corner[:2] for corner in placed if corner is not None])
        u_px = float(np.sqrt(np.mean([corner[2] ** 2 for corner in placed if corner is not None])))
    if not np.linalg.norm(corners + low - start, axis=1).max() < FAR_PX:
        return None
    return FoundBoard(corners=corners + low, u_px=float(np.hypot(u_px, FLOOR_U_PX)), rim_px=RIM_PX)


def _linear(grey: npt.NDArray[Any]) -> npt.NDArray[np.float32]:
    """Linear light of sRGB values (IEC 61966-2-1)."""
    value = grey.astype(np.float32) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _corner(
    light: npt.NDArray[np.float32], corners: Array, k: int, reach: float, cv2: Any
) -> tuple[float, float, float] | None:
    """x, y and standard uncertainty [px] of corner k, from the two edges that meet there."""
    here = corners[k]
    middle = corners.mean(axis=0)
    lines = []
    for other in (corners[k - 1], corners[(k + 1) % 4]):
        line = _edge_line(light, here, other, middle, reach, cv2)
        if line is None:
            return None
        lines.append(line)
    (p, d, sd_p), (q, e, sd_q) = lines
    x, y = _crossing(p, d, q, e)
    sine = abs(float(d[0] * e[1] - d[1] * e[0]))
    return float(x), float(y), float(np.hypot(sd_p, sd_q) / np.sqrt(2) / max(sine, 0.05))


def _edge_line(
    light: npt.NDArray[np.float32], here: Array, other: Array, middle: Array, reach: float, cv2: Any
) -> tuple[Array, Array, float] | None:
    """A point and the direction of the edge near `here`, and how well it is known there [px]."""
    length = float(np.linalg.norm(other - here))
    along = (other - here) / length
    out = np.array([along[1], -along[0]])
    if out @ (middle - here) > 0:
        out = -out
    last = min(length - CORNER_GAP_PX, STRAIGHT_PX)
    n = max(int(last - CORNER_GAP_PX), 6)
    s = np.linspace(CORNER_GAP_PX, last, n)
    t = np.linspace(-reach, reach, 8 * int(np.ceil(reach)) + 1)
    at = here + s[:, None, None] * along + t[None, :, None] * out
    size = np.array(light.shape[::-1]) - 1
    inside = ((at >= 0) & (at <= size)).all(axis=(1, 2))
    if inside.sum() < 6:
        return None
    s, at = s[inside], at[inside].astype(np.float32)
    profile = cv2.remap(light, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    ends = max(len(t) // 8, 1)
    black, white = float(np.median(profile[:, :ends])), float(np.median(profile[:, -ends:]))
    if not white - black > 0.02:
        return None
    step = t[1] - t[0]
    share = (profile - black) / (white - black)
    area = (share.sum(axis=1) - (share[:, 0] + share[:, -1]) / 2) * step
    offset = t[-1] - area
    kept = np.abs(offset - np.median(offset)) < max(4 * 1.4826 * _mad(offset), 0.3)
    if kept.sum() < 6:
        return None
    design = np.column_stack([np.ones(kept.sum()), s[kept]])
    (shift, slope), *_ = np.linalg.lstsq(design, offset[kept], rcond=None)
    residual = offset[kept] - design @ np.array([shift, slope])
    # neighbouring profiles share pixels: about every second one is news
    variance = 2 * float(residual @ residual) / max(len(residual) - 2, 1) * np.linalg.inv(design.T @ design)
    direction = along + slope * out
    return here + shift * out, direction / np.linalg.norm(direction), float(np.sqrt(variance[0, 0]))


def _mad(values: Array) -> float:
    return float(np.median(np.abs(values - np.median(values))))


def _crossing(p: Array, d: Array, q: Array, e: Array) -> Array:
    """Where the lines p + s d and q + t e cross."""
    s = np.linalg.solve(np.column_stack([d, -e]), q - p)[0]
    return np.asarray(p + s * d)
