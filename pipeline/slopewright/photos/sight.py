"""What a camera sees of a roof: faces that hide others.  Metres; z up."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from ..scene import Array

CLEAR_M = 0.1  # a face so close to a spot does not hide it


class Faces:
    """Faces as things that hide others: planes n . x = offset within rings in plan."""

    def __init__(self, *, normals: Array, offsets: Array, rings: list[list[Array]]) -> None:
        self.normals, self.offsets = normals, offsets
        self.outlines = [shapely.make_valid(shapely.Polygon(loops[0], loops[1:])) for loops in rings]
        for outline in self.outlines:
            shapely.prepare(outline)

    def hide(self, centre: Array, xyz: Array, own: int | None = None) -> npt.NDArray[np.bool_]:
        """Which of the points (n, 3) faces hide from a camera at `centre`; `own` hides none of them."""
        hidden = np.zeros(len(xyz), dtype=bool)
        way = centre - xyz
        length = np.linalg.norm(way, axis=1)
        for f, (normal, offset) in enumerate(zip(self.normals, self.offsets, strict=True)):
            if f == own:
                continue
            speed = way @ normal
            share = (offset - xyz @ normal) / np.where(np.abs(speed) < 1e-12, np.inf, speed)
            between = (share * length > CLEAR_M) & (share < 1)
            met = xyz + share[:, None] * way
            hidden |= between & shapely.contains_xy(self.outlines[f], met[:, 0], met[:, 1])
        return hidden

    def holds(self, face: int, xy: Array) -> npt.NDArray[np.bool_]:
        """Which spots of the plan (n, 2) lie in a face."""
        return np.asarray(shapely.contains_xy(self.outlines[face], xy[:, 0], xy[:, 1]))
