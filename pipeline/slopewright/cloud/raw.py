"""What a reader hands over: coordinates in the file's own unit, and what the file says about that unit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ..scene import Array, Notice

AXES = ("x", "y", "z")


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitClaim:
    """One place of the file that states units: "m", "ft" or "us-ft", None where it is silent."""

    source: str  # where it is said, for messages: "WKT", "key ProjLinearUnits", ...
    horizontal: str | None = None
    vertical: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """Where the coordinates lie on Earth and in what unit, as far as the file says."""

    crs: str | None = None  # "EPSG:nnnn" or WKT
    claims: tuple[UnitClaim, ...] = ()
    notices: tuple[Notice, ...] = ()


def _numbered(row: int) -> str:
    return f"point {row + 1}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawCloud:
    """Points in file units.  The arrays belong to whoever receives it and may be changed in place."""

    xyz: Array  # (n, 3) [file unit]
    step: Array  # (3,) [file unit] smallest step between stored coordinates, 0 where it does not matter
    placement: Placement = field(default_factory=Placement)
    classes: npt.NDArray[np.uint8] | None = None  # (n,)
    n_returns: npt.NDArray[np.uint8] | None = None  # (n,) of the point's pulse
    return_number: npt.NDArray[np.uint8] | None = None  # (n,)
    strip: npt.NDArray[np.uint16] | None = None  # (n,) point source id
    notices: tuple[Notice, ...] = ()
    name_row: Callable[[int], str] = _numbered  # row of xyz -> how to name it to a person
