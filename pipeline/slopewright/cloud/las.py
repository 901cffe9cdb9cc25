"""LAS, LAZ and COPC in chunks: coordinates in file units, classes, returns, strips; noise is left out.

Only a few fields of a point are wanted, so records are taken apart here: ASPRS LAS 1.4 R15, point data
record formats.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..scene import Array, Notice
from .las_header import LasHeader, las_placement, read_las_header
from .laz import read_laz_points
from .raw import RawCloud

CHUNK = 500_000  # points decoded at a time; 30 MB at 60 bytes a point
NOISE = (7, 18)  # ASPRS: low point (noise), high noise
UNCLASSIFIED = (0, 1)  # ASPRS: created but never classified, unclassified
FIRST_WIDE_FORMAT = 6  # from here on a byte for the class and another for flags


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
    sieve = _Sieve(keep)
    with path.open("rb") as stream:
        header = read_las_header(name, stream, path.stat().st_size)
        placement = las_placement(name, header)
        layout = point_layout(header)
        for block in file_blocks(name, stream, header):
            sieve.add(np.frombuffer(block, dtype=layout), header)
    xyz, classes, returns, strip = sieve.collect()
    # A file in which no pulse has a second return, or in which no source is told, was written without them.
    n_returns, number = returns >> np.uint8(4), returns & np.uint8(0x0F)
    many = bool((n_returns > 1).any())
    return RawCloud(
        xyz=xyz,
        step=np.abs(header.scales),
        placement=placement,
        classes=None if np.isin(classes, UNCLASSIFIED).all() else classes,
        n_returns=n_returns if many else None,
        return_number=number if many else None,
        strip=strip if strip.any() else None,
        notices=sieve.notices(),
    )


def point_layout(header: LasHeader) -> np.dtype[np.void]:
    """The wanted fields of a point record.  Class and withheld flag share byte 15 in formats 0 to 5.

    "returns" holds the return's number in its low bits and the pulse's number of returns above them: three
    bits each in formats 0 to 5, four in the later ones.
    """
    wide = header.point_format >= FIRST_WIDE_FORMAT
    return np.dtype(
        {
            "names": ["x", "y", "z", "returns", "flags", "class", "strip"],
            "formats": ["<i4", "<i4", "<i4", "u1", "u1", "u1", "<u2"],
            "offsets": [0, 4, 8, 14, 15, 16 if wide else 15, 20 if wide else 18],
            "itemsize": header.point_bytes,
        }
    )


def file_blocks(name: str, stream: BinaryIO, header: LasHeader) -> Iterator[bytearray | bytes]:
    """All points of a file as they are stored, CHUNK at a time."""
    if header.n_points == 0:
        return
    if header.compressed:
        yield from read_laz_points(
            name, stream, header.laszip, header.points_at, header.n_points, header.point_bytes, CHUNK
        )
        return
    stream.seek(header.points_at)
    for start in range(0, header.n_points, CHUNK):
        size = min(CHUNK, header.n_points - start) * header.point_bytes
        block = stream.read(size)
        if len(block) < size:
            raise InputError(f"{name}: truncated while it was read, need the whole file")
        yield block


class _Sieve:
    """Collects chunks of points and counts what it leaves out."""

    def __init__(self, keep: Collection[int] | None) -> None:
        self.keep = None if keep is None else np.isin(np.arange(256), list(keep))
        self.n_noise = self.n_withheld = self.n_unwanted = 0
        self.chunks: list[Array] = []
        self.classes: list[npt.NDArray[np.uint8]] = []
        self.returns: list[npt.NDArray[np.uint8]] = []  # number of the return, and of all of its pulse << 4
        self.strips: list[npt.NDArray[np.uint16]] = []

    def add(self, points: npt.NDArray[np.void], header: LasHeader) -> None:
        wide = header.point_format >= FIRST_WIDE_FORMAT
        classes = points["class"] if wide else points["class"] & 0x1F
        good = points["flags"] & (0x04 if wide else 0x80) == 0
        self.n_withheld += int(np.count_nonzero(~good))
        if self.keep is None:
            noise = np.isin(classes, NOISE)
            self.n_noise += int(np.count_nonzero(noise & good))
            good &= ~noise
        else:
            self.n_unwanted += int(np.count_nonzero(good & ~self.keep[classes]))
            good &= self.keep[classes]
        xyz = np.empty((int(np.count_nonzero(good)), 3))
        with np.errstate(over="ignore", invalid="ignore"):  # a damaged scale; refused as infinite later
            for axis, field in enumerate(("x", "y", "z")):
                xyz[:, axis] = points[field][good] * header.scales[axis] + header.offsets[axis]
        self.chunks.append(xyz)
        returns = points["returns"][good]
        self.classes.append(classes[good])
        self.returns.append(
            returns if wide else returns & np.uint8(0x07) | (returns & np.uint8(0x38)) << np.uint8(1)
        )
        self.strips.append(points["strip"][good])

    def collect(
        self,
    ) -> tuple[Array, npt.NDArray[np.uint8], npt.NDArray[np.uint8], npt.NDArray[np.uint16]]:
        """Points, classes, returns and strips in one array each, at most twice their size on the way."""
        xyz = np.empty((sum(map(len, self.chunks)), 3))
        at = len(xyz)
        while self.chunks:
            chunk = self.chunks.pop()
            at -= len(chunk)
            xyz[at : at + len(chunk)] = chunk
        nothing = np.empty(0, dtype=np.uint8)
        return (
            xyz,
            np.concatenate([nothing, *self.classes]),
            np.concatenate([nothing, *self.returns]),
            np.concatenate([nothing.astype(np.uint16), *self.strips]),
        )

    def notices(self) -> tuple[Notice, ...]:
        counts = {
            "noise_dropped": (self.n_noise, "points classified as noise (7, 18) left out"),
            "withheld_dropped": (self.n_withheld, "points flagged as withheld left out"),
            "classes_dropped": (self.n_unwanted, "points of other classes left out"),
        }
        return tuple(Notice(code=code, text=f"{n:,} {text}") for code, (n, text) in counts.items() if n)
