"""The nodes of a COPC file that lie under a box: an octree of LAZ chunks.  COPC specification 1.0."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import BinaryIO

import numpy as np

from ..errors import InputError
from ..scene import Array
from .las_header import COPC_RECORD, LasHeader
from .laz import read_laz_chunk

INFO = struct.Struct("<3dddQQ")  # centre, half side of the root's cube, spacing, root page's offset and size
ENTRY = struct.Struct("<4iQii")  # level, x, y, z; offset and size [byte]; number of points, -1: a page
MAX_LEVEL = 32  # deeper, and a cell is smaller than a coordinate's step
MAX_PAGES = 100_000


def is_copc(header: LasHeader) -> bool:
    """Whether a LAZ file carries the tree of COPC."""
    return header.compressed and len(header.records.get(COPC_RECORD, b"")) >= INFO.size


def blocks_under(name: str, stream: BinaryIO, header: LasHeader, boxes: Array) -> Iterator[bytearray]:
    """Points of the nodes that any of some boxes touches, node by node in the order of the file.

    Parameters
    ----------
    stream : binary file
    header : LasHeader
        Of a file that `is_copc`.
    boxes : array, shape (k, 4)
        Least x and y, largest x and y [file unit].

    Raises
    ------
    InputError
        If the tree goes beyond the file or in circles, or a chunk is damaged.
    """
    file_bytes = stream.seek(0, 2)
    for offset, n_bytes, n_points in sorted(set(_nodes(name, stream, header, boxes, file_bytes))):
        stream.seek(offset)
        yield read_laz_chunk(name, stream.read(n_bytes), header.laszip, header.point_bytes, n_points)


def _nodes(
    name: str, stream: BinaryIO, header: LasHeader, boxes: Array, file_bytes: int
) -> Iterator[tuple[int, int, int]]:
    """Offset, size and number of points of the nodes under the boxes."""
    x, y, _, half, _, root_at, root_bytes = INFO.unpack_from(header.records[COPC_RECORD])
    pages: list[tuple[int, int]] = [(root_at, root_bytes)]
    seen: set[tuple[int, int]] = set()
    total = 0
    while pages:
        page = pages.pop()
        if page in seen or len(seen) > MAX_PAGES:
            raise InputError(f"{name}: damaged, the tree of its nodes goes in circles, need a valid COPC")
        seen.add(page)
        at, size = page
        if size < 0 or at + size > file_bytes or size % ENTRY.size:
            raise InputError(f"{name}: damaged, a page of its nodes is not in the file, need the whole file")
        stream.seek(at)
        for level, column, row, _, offset, n_bytes, n_points in ENTRY.iter_unpack(stream.read(size)):
            if not 0 <= level <= MAX_LEVEL or n_points < -1:
                raise InputError(f"{name}: damaged, a node of level {level}, need a valid COPC")
            side = 2 * half / 2**level
            west, south = x - half + column * side, y - half + row * side
            if not _touched(boxes, west, south, west + side, south + side):
                continue
            if n_points == -1:
                pages.append((offset, n_bytes))
            elif n_points:
                total += n_points
                if n_bytes < 0 or offset + n_bytes > file_bytes or total > header.n_points:
                    raise InputError(f"{name}: damaged, a node is not in the file, need the whole file")
                yield offset, n_bytes, n_points


def _touched(boxes: Array, west: float, south: float, east: float, north: float) -> bool:
    apart = (boxes[:, 0] > east) | (boxes[:, 2] < west) | (boxes[:, 1] > north) | (boxes[:, 3] < south)
    return bool(np.any(~apart))
