"""The sheet of paper: its size, the scale that fits, and where the roof lies on it.  Millimetres, y down."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ...scene import Array

MARGIN_MM = 9.0
HEADER_MM = 15.0
FOOTER_MM = 15.0
COLUMN_MM = 64.0  # for the tables beside the drawing
GAP_MM = 4.0
MANY_EDGES = 40  # more, and a sheet twice as large is needed to read them
LABEL_ROOM_MM = 11.0  # round the roof, for what is written outside it

SIZES_IMPERIAL = ((279.4, 215.9, "Letter"), (431.8, 279.4, "Tabloid (11 x 17 in)"))
SIZES_METRIC = ((297.0, 210.0, "A4"), (420.0, 297.0, "A3"))  # ISO 216

# Scales that rulers have: (1 : n, as it is said)
IMPERIAL = (
    (24, "1/2 in = 1 ft"), (32, "3/8 in = 1 ft"), (48, "1/4 in = 1 ft"), (64, "3/16 in = 1 ft"),
    (96, "1/8 in = 1 ft"), (120, "1 in = 10 ft"), (128, "3/32 in = 1 ft"), (192, "1/16 in = 1 ft"),
    (240, "1 in = 20 ft"), (360, "1 in = 30 ft"), (480, "1 in = 40 ft"), (600, "1 in = 50 ft"),
    (1200, "1 in = 100 ft"), (2400, "1 in = 200 ft"), (6000, "1 in = 500 ft"),
)  # fmt: skip
METRIC = tuple((n, "") for n in (20, 25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 1000, 2000, 5000))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """A sheet and the place of the roof on it."""

    width_mm: float
    height_mm: float
    name: str  # of the paper
    scale: int  # 1 : scale
    scale_said: str  # "1/8 in = 1 ft", or nothing
    middle_m: Array  # (2,) the point of the plan that lies in the middle of the field

    @property
    def field_mm(self) -> tuple[float, float, float, float]:
        """Where the drawing may go: left, top, right, bottom."""
        return (
            MARGIN_MM,
            MARGIN_MM + HEADER_MM,
            self.width_mm - MARGIN_MM - COLUMN_MM - GAP_MM,
            self.height_mm - MARGIN_MM - FOOTER_MM,
        )

    @property
    def column_mm(self) -> tuple[float, float, float]:
        """Left side, top and bottom of the column of tables."""
        return (
            self.width_mm - MARGIN_MM - COLUMN_MM,
            MARGIN_MM + HEADER_MM,
            self.height_mm - MARGIN_MM,
        )

    def place(self, xy_m: Array) -> Array:
        """Millimetres on the sheet of plan points, shape (..., 2)."""
        left, top, right, bottom = self.field_mm
        middle = np.array([(left + right) / 2, (top + bottom) / 2])
        placed: Array = middle + (xy_m - self.middle_m) * np.array([1.0, -1.0]) * (1000 / self.scale)
        return placed

    def lift(self, mm: Array) -> Array:
        """Plan points [m] of millimetres on the sheet, shape (..., 2)."""
        left, top, right, bottom = self.field_mm
        middle = np.array([(left + right) / 2, (top + bottom) / 2])
        lifted: Array = self.middle_m + (mm - middle) * np.array([1.0, -1.0]) * (self.scale / 1000)
        return lifted


def choose_sheet(xy_m: Array, n_edges: int, *, metric: bool) -> Sheet:
    """The sheet, upright or lying, with the largest scale at which a plan fits.

    Beyond the rulers' scales it is a whole number of thousands.

    Parameters
    ----------
    xy_m : array, shape (n, 2)
        Points of the plan [m].
    n_edges : int
        How many edges there are to label; from `MANY_EDGES` on the sheet is twice as large.
    metric : bool
        A4 or A3 and round scales instead of Letter or Tabloid and inches to the foot.
    """
    middle_m = (xy_m.min(axis=0) + xy_m.max(axis=0)) / 2
    size_m = np.ptp(xy_m, axis=0)
    width_mm, height_mm, name = (SIZES_METRIC if metric else SIZES_IMPERIAL)[n_edges > MANY_EDGES]
    candidates = []
    for width, height in ((width_mm, height_mm), (height_mm, width_mm)):
        blank = Sheet(width_mm=width, height_mm=height, name=name, scale=1, scale_said="", middle_m=middle_m)
        left, top, right, bottom = blank.field_mm
        room_m = (np.array([right - left, bottom - top]) - 2 * LABEL_ROOM_MM) / 1000
        scale, said = ruler_scale(float((size_m / room_m).max()), metric=metric)
        candidates.append(replace(blank, scale=scale, scale_said=said))
    return min(candidates, key=lambda sheet: sheet.scale)  # the first, landscape, of equals


def ruler_scale(needed: float, *, metric: bool) -> tuple[int, str]:
    """The first scale 1 : n of a ruler, with n not below `needed`, and how it is said."""
    for scale, said in METRIC if metric else IMPERIAL:
        if scale >= needed:
            return scale, said
    return 1000 * math.ceil(needed / 1000), ""
