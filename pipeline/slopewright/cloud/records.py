"""Fixed-size binary records to coordinates, and how finely their number type can place a point."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

from ..scene import Array
from .damage import check_whole
from .raw import AXES

CHUNK = 500_000  # records read at a time


def read_records(path: Path, offset: int, record: np.dtype[np.void], n_points: int) -> Array:
    """Read fields x, y, z of records that lie one after the other.

    Parameters
    ----------
    offset : int
        Where the first record begins [byte].
    record : structured dtype
        With fields "x", "y", "z".
    n_points : int

    Returns
    -------
    array, shape (n_points, 3)
        Coordinates [file unit].

    Raises
    ------
    InputError
        If the file is shorter than that.
    """
    held = max(0, path.stat().st_size - offset) // record.itemsize
    check_whole(path.name, n_points, held)
    xyz = np.empty((n_points, 3))
    with path.open("rb") as stream, np.errstate(invalid="ignore"):  # NaN of a damaged file; refused later
        stream.seek(offset)
        for start in range(0, n_points, CHUNK):
            chunk = np.fromfile(stream, dtype=record, count=min(CHUNK, n_points - start))
            for axis, field in enumerate(AXES):
                xyz[start : start + len(chunk), axis] = chunk[field]
    return xyz


def coordinate_step(xyz: Array, dtypes: list[np.dtype[np.generic]]) -> npt.NDArray[np.float64]:
    """Smallest step that a number type can make at the largest coordinate, for x, y and z.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Coordinates [file unit].
    dtypes : list of three dtypes
        As stored in the file.

    Returns
    -------
    array, shape (3,)
        Steps [file unit]; 1 for integers, 0 for an axis that holds what is not finite.
    """
    steps = np.zeros(3)
    for axis, dtype in enumerate(dtypes):
        largest = float(np.abs(xyz[:, axis]).max(initial=0.0))
        if dtype.kind != "f":
            steps[axis] = 1.0
        elif np.isfinite(largest):
            steps[axis] = float(np.spacing(np.array(largest, dtype=dtype)))
    return steps
