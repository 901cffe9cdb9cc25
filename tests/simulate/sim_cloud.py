"""A simulated cloud: points and what each one truly is.  Metres; z is up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from slopewright.scene import Array, Labels, lock

from .surroundings import CHIMNEY, GROUND, NEIGHBOUR, TREE, WALL

CLASSES = {GROUND: 2, WALL: 1, TREE: 5, CHIMNEY: 6, NEIGHBOUR: 6}  # ASPRS LAS 1.4 R15, table 17; others 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimCloud:
    """Points and what each one truly is."""

    xyz: Array  # (n, 3) [m]
    label: (
        Labels  # (n,) face of the roof; -1 ground, -2 wall, -3 tree, -4 chimney or pipe, -5 neighbour, -6 car
    )
    strip: npt.NDArray[np.uint8]  # (n,) flight strip, 0 for photogrammetry
    n_returns: npt.NDArray[np.uint8] | None = None  # (n,) of the point's pulse, None for photogrammetry
    return_number: npt.NDArray[np.uint8] | None = None  # (n,)

    def __post_init__(self) -> None:
        lock(self.xyz, self.label, self.strip, self.n_returns, self.return_number)

    @property
    def classes(self) -> npt.NDArray[np.uint8]:
        """ASPRS classes as a careful provider gives them: 2 ground, 5 high vegetation, 6 building, 1 rest."""
        classes = np.where(self.label >= 0, 6, 1).astype(np.uint8)
        for label, code in CLASSES.items():
            classes[self.label == label] = code
        return classes
