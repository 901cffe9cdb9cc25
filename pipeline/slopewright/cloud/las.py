"""LAS, LAZ and COPC in chunks: coordinates in file units, classes, noise and withheld points left out."""

from __future__ import annotations

import logging
from collections.abc import Collection
from pathlib import Path

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..scene import Notice
from .las_header import LasHeader, las_placement, read_las_header
from .native import native_errors
from .raw import RawCloud

CHUNK = 500_000  # points decoded at a time; 30 MB at 60 bytes a point
NOISE = (7, 18)  # ASPRS: low point (noise), high noise
UNCLASSIFIED = (0, 1)  # ASPRS: created but never classified, unclassified

logging.getLogger("laspy").addHandler(logging.NullHandler())  # it prints what it also raises


def read_las(path: Path, *, keep: Collection[int] | None = None) -> RawCloud:
    """Read a LAS or LAZ file (a COPC file is a LAZ file).

    Parameters
    ----------
    path : Path
    keep : collection of int, optional
        ASPRS classes to keep; by default all but noise (7, 18).

    Raises
    ------
    InputError
        If the file is truncated or damaged, or its CRS cannot be measured in.
    """
    name = path.name
    with path.open("rb") as stream:
        header = read_las_header(name, stream, path.stat().st_size)
    placement = las_placement(name, header)
    reader = _Sieve(keep)
    with native_errors(name):
        _read_points(path, header, reader)
    if reader.n_read < header.n_points:
        raise InputError(
            f"{name}: truncated, header promises {header.n_points} points, file holds {reader.n_read}"
        )
    xyz, classes = reader.collect()
    return RawCloud(
        xyz=xyz, step=np.abs(header.scales), placement=placement, classes=classes, notices=reader.notices()
    )


def _read_points(path: Path, header: LasHeader, sieve: _Sieve) -> None:
    import laspy

    wanted = laspy.DecompressionSelection
    selection = wanted.XY_RETURNS_CHANNEL | wanted.Z | wanted.CLASSIFICATION | wanted.FLAGS
    with laspy.open(path, read_evlrs=False, decompression_selection=selection) as reader:
        left = header.n_points
        while left > 0:
            points = reader.read_points(min(CHUNK, left))
            if len(points) == 0:
                return
            sieve.add(points)
            left -= len(points)


class _Sieve:
    """Collects chunks of points and counts what it leaves out."""

    def __init__(self, keep: Collection[int] | None) -> None:
        self.keep = None if keep is None else np.isin(np.arange(256), list(keep))
        self.n_read = self.n_noise = self.n_withheld = self.n_unwanted = 0
        self.chunks: list[npt.NDArray[np.float64]] = []
        self.classes: list[npt.NDArray[np.uint8]] = []

    def add(self, points) -> None:  # type: ignore[no-untyped-def]  # laspy is not typed
        classes = np.asarray(points.classification, dtype=np.uint8)
        good = ~np.asarray(points.withheld, dtype=bool)
        self.n_read += len(good)
        self.n_withheld += int(np.count_nonzero(~good))
        if self.keep is None:
            noise = np.isin(classes, NOISE)
            self.n_noise += int(np.count_nonzero(noise & good))
            good &= ~noise
        else:
            self.n_unwanted += int(np.count_nonzero(good & ~self.keep[classes]))
            good &= self.keep[classes]
        self.chunks.append(np.stack([points.x[good], points.y[good], points.z[good]], axis=1))
        self.classes.append(classes[good])

    def collect(self) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.uint8] | None]:
        """All points in one array, at most twice their size in memory on the way."""
        xyz = np.empty((sum(map(len, self.chunks)), 3))
        at = len(xyz)
        while self.chunks:
            chunk = self.chunks.pop()
            at -= len(chunk)
            xyz[at : at + len(chunk)] = chunk
        classes = np.concatenate([np.empty(0, dtype=np.uint8), *self.classes])
        return xyz, None if np.isin(classes, UNCLASSIFIED).all() else classes

    def notices(self) -> tuple[Notice, ...]:
        counts = {
            "noise_dropped": (self.n_noise, "points classified as noise (7, 18) left out"),
            "withheld_dropped": (self.n_withheld, "points flagged as withheld left out"),
            "classes_dropped": (self.n_unwanted, "points of other classes left out"),
        }
        return tuple(Notice(code=code, text=f"{n:,} {text}") for code, (n, text) in counts.items() if n)
