"""Points of a LAS, LAZ or COPC tile under many boxes, and small LAS files made of them.

A COPC file is read where the boxes lie; the others are read once, however many boxes there are.
Coordinates stay the whole numbers that the tile has, so that a cut holds what the tile held.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from ..errors import InputError
from ..scene import Array
from .copc import blocks_under, is_copc
from .las import FIRST_WIDE_FORMAT, file_blocks, point_layout
from .las_header import (
    DOUBLES_RECORD,
    KEYS_RECORD,
    WKT_BIT,
    WKT_RECORD,
    LasHeader,
    las_placement,
    read_las_header,
)
from .raw import Placement

Points = npt.NDArray[np.void]

HEADER_BYTES = 375  # of LAS 1.4
VLR = struct.Struct("<H16sHH32s")
KEPT_RECORDS = (WKT_RECORD, KEYS_RECORD, DOUBLES_RECORD)  # what says where the points lie
STORED = np.dtype(  # point format 6 of LAS 1.4; what a roof does not need is left zero
    [
        ("x", "<i4"), ("y", "<i4"), ("z", "<i4"), ("intensity", "<u2"), ("returns", "u1"), ("flags", "u1"),
        ("class", "u1"), ("user", "u1"), ("angle", "<i2"), ("strip", "<u2"), ("time", "<f8"),
    ]
)  # fmt: skip
BORDER = 1e-5  # of a step: a point on the border is in, whatever the rounding of map coordinates
WITHHELD = 0x04  # of the flags in format 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """A file of a survey: where it lies, as its header says."""

    path: Path
    header: LasHeader
    placement: Placement


def open_tile(path: Path) -> Tile:
    """Read a tile's header.

    Raises
    ------
    InputError
        If it is no LAS or LAZ file, or a damaged one.
    """
    try:
        with path.open("rb") as stream:
            if stream.read(4) != b"LASF":
                raise InputError(f"{path.name}: not a LAS or LAZ file, need tiles in LAS, LAZ or COPC")
            stream.seek(0)
            header = read_las_header(path.name, stream, path.stat().st_size)
    except OSError as error:
        raise InputError(f"{path.name}: cannot be read: {error.strerror}, need a readable file") from error
    scales = np.array(header.scales)
    if not (np.isfinite([*scales, *header.offsets, *header.extent]).all() and (scales > 0).all()):
        raise InputError(f"{path.name}: damaged, scale or extent of its header, need a valid LAS")
    return Tile(path=path, header=header, placement=las_placement(path.name, header))


def points_under(tile: Tile, boxes: Array) -> list[Points]:
    """The points under each of some boxes, in the order of the file.

    Parameters
    ----------
    tile : Tile
    boxes : array, shape (k, 4)
        Least x and y, largest x and y [file unit], borders included.

    Returns
    -------
    list of k structured arrays
        Of dtype `STORED`, with the tile's own scale and offset.  All classes are kept.

    Raises
    ------
    InputError
        If the tile is truncated or damaged.

    Notes
    -----
    Holds the points under all boxes in memory at once, 30 bytes each.
    """
    header, name = tile.header, tile.path.name
    layout = point_layout(header)
    low, high = _whole_numbers(header, boxes)
    kept = []
    with tile.path.open("rb") as stream:
        blocks = (
            blocks_under(name, stream, header, boxes)
            if is_copc(header)
            else file_blocks(name, stream, header)
        )
        for block in blocks:
            points = np.frombuffer(block, dtype=layout)
            kept.append(_stored(points[_in_any(points, low, high)], header))
    held = np.concatenate([np.empty(0, dtype=STORED), *kept])
    order = np.argsort(held["y"], kind="stable")  # a box is a run of it
    rows = held["y"][order]
    starts, ends = np.searchsorted(rows, low[:, 1], "left"), np.searchsorted(rows, high[:, 1], "right")
    found = []
    for k in range(len(boxes)):
        run = np.sort(order[starts[k] : ends[k]])
        x = held["x"][run]
        found.append(held[run[(x >= low[k, 0]) & (x <= high[k, 0])]])
    return found


def las_bytes(parts: Sequence[tuple[Tile, Points]], guid: bytes) -> bytes:
    """One LAS 1.4 file of points from several tiles of one survey.

    Parameters
    ----------
    parts : sequence of (Tile, structured array of dtype `STORED`)
        At least one.  The first tile's step, offset and records hold; points of tiles with another step or
        offset are set on the finest step of them all.
    guid : bytes
        16 bytes for the header's project id.

    Raises
    ------
    InputError
        If the points lie too far apart to be stored in one file.
    """
    first = parts[0][0].header
    scales = np.min([tile.header.scales for tile, _ in parts], axis=0)
    points = np.concatenate([_on_grid(tile, held, scales, first.offsets) for tile, held in parts])
    records = [(key, first.records[key]) for key in KEPT_RECORDS if key in first.records]
    block = b"".join(VLR.pack(0, b"LASF_Projection", key, len(data), b"") + data for key, data in records)
    high, low = np.zeros(3), np.zeros(3)
    if len(points):
        xyz = np.stack([points[axis] for axis in ("x", "y", "z")], axis=1) * scales + first.offsets
        high, low = xyz.max(axis=0), xyz.min(axis=0)
    encoding = WKT_BIT if first.wkt_rules else 0
    head = struct.pack("<4sHH16sBB32s32sHH", b"LASF", 0, encoding, guid, 1, 4, b"", b"slopewright", 1, 2026)
    head += struct.pack("<HIIBH", HEADER_BYTES, HEADER_BYTES + len(block), len(records), 6, STORED.itemsize)
    head += struct.pack("<I5I6d", 0, 0, 0, 0, 0, 0, *scales, *first.offsets)
    head += struct.pack("<6d", *[side[axis] for axis in range(3) for side in (high, low)])
    head += struct.pack("<QQIQ15Q", 0, 0, 0, len(points), len(points), *[0] * 14)
    return head + block + points.tobytes()


def guid_of(path: Path) -> bytes:
    """The project id of a LAS file's header; empty where there is no such file."""
    try:
        with path.open("rb") as stream:
            head = stream.read(24)
    except OSError:
        return b""
    return head[8:24] if head.startswith(b"LASF") else b""


def _whole_numbers(header: LasHeader, boxes: Array) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """The least and largest stored x and y of each box, shape (k, 2)."""
    offset, scale = np.array(header.offsets[:2]), np.array(header.scales[:2])
    reach = np.iinfo(np.int32)

    def stored(values: Array) -> npt.NDArray[np.int64]:
        return np.clip(values, reach.min, reach.max).astype(np.int64)

    low, high = (boxes[:, :2] - offset) / scale, (boxes[:, 2:] - offset) / scale
    return stored(np.ceil(low - BORDER)), stored(np.floor(high + BORDER))


def _in_any(points: Points, low: npt.NDArray[np.int64], high: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Whether each point may lie in some box: one look at a raster, however many boxes there are."""
    west, south = low.min(axis=0)
    east, north = high.max(axis=0)
    n_cells = 1024
    side = max((int(max(east - west, north - south)) + 1) // n_cells + 1, 1)
    covered = np.zeros((n_cells + 1, n_cells + 1), dtype=bool)
    for (x0, y0), (x1, y1) in zip(low, high, strict=True):
        if x0 <= x1 and y0 <= y1:
            covered[
                (y0 - south) // side : (y1 - south) // side + 1, (x0 - west) // side : (x1 - west) // side + 1
            ] = True
    x, y = points["x"].astype(np.int64), points["y"].astype(np.int64)
    inside: npt.NDArray[np.bool_] = (x >= west) & (x <= east) & (y >= south) & (y <= north)
    inside[inside] = covered[(y[inside] - south) // side, (x[inside] - west) // side]
    return inside


def _stored(points: Points, header: LasHeader) -> Points:
    """Points as format 6 has them."""
    stored = np.zeros(len(points), dtype=STORED)
    for name in ("x", "y", "z", "strip"):
        stored[name] = points[name]
    returns = points["returns"]
    if header.point_format >= FIRST_WIDE_FORMAT:
        stored["returns"], stored["class"] = returns, points["class"]
        stored["flags"] = points["flags"] & WITHHELD
    else:
        stored["returns"] = returns & np.uint8(0x07) | (returns & np.uint8(0x38)) << np.uint8(1)
        stored["class"] = points["class"] & np.uint8(0x1F)
        stored["flags"] = (points["flags"] >> np.uint8(7)) * np.uint8(WITHHELD)
    return stored


def _on_grid(tile: Tile, points: Points, scales: Array, offsets: tuple[float, float, float]) -> Points:
    """Points of a tile as whole numbers of another step and offset."""
    own = tile.header
    if tuple(scales) == own.scales and offsets == own.offsets:
        return points
    moved = points.copy()
    reach = np.iinfo(np.int32)
    for axis, name in enumerate(("x", "y", "z")):
        value = points[name] * own.scales[axis] + (own.offsets[axis] - offsets[axis])
        steps = np.round(value / scales[axis])
        if len(steps) and not (steps.min() >= reach.min and steps.max() <= reach.max):
            raise InputError(
                f"{tile.path.name}: lies too far from its neighbour to be joined, need one survey"
            )
        moved[name] = steps.astype(np.int32)
    return moved


def tiles_in(folder: Path) -> Iterator[Path]:
    """The tiles of a folder and of those in it, by name."""
    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() in (".las", ".laz") and path.is_file():
            yield path
