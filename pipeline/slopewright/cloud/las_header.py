"""LAS public header and projection records, checked against the file's size before anything is allocated.

Offsets: ASPRS LAS 1.4 R15 specification, public header block and (extended) variable length records;
the headers of versions 1.0 to 1.3 are prefixes of that of 1.4.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import BinaryIO

from ..errors import InputError
from .crs import placement_from_wkt
from .damage import check_whole
from .geokeys import VERTICAL_CRS, VERTICAL_UNITS, placement_from_geokeys
from .raw import Placement

HEADER_BYTES = 227  # of LAS 1.0 to 1.2
VLR = struct.Struct("<2x16sHH32x")
EVLR = struct.Struct("<2x16sHQ32x")
OWNERS = (b"LASF_Projection", b"laszip encoded", b"copc")  # whose records are wanted
WKT_RECORD, KEYS_RECORD, DOUBLES_RECORD, LASZIP_RECORD = 2112, 34735, 34736, 22204
COPC_RECORD = 1  # what a COPC file says of its tree
MAX_RECORD_BYTES = 1 << 20  # a WKT is a few kB
WKT_BIT = 0x10  # of the global encoding
COMPRESSED_BIT = 0x80  # LAZ sets the top bit of the point format
POINT_BYTES = (20, 28, 26, 34, 57, 63, 30, 36, 38, 59, 67)  # minimum record of formats 0 to 10


@dataclass(frozen=True, slots=True, kw_only=True)
class LasHeader:
    """What is needed of the header."""

    n_points: int
    point_format: int  # 0 to 10, without the compression bit
    point_bytes: int
    points_at: int  # offset of the first point [byte]
    compressed: bool
    scales: tuple[float, float, float]  # [file unit] a step of the stored integers
    offsets: tuple[float, float, float]  # [file unit]
    extent: tuple[float, float, float, float]  # least x and y, largest x and y [file unit], as the file says
    wkt_rules: bool  # the encoding bit that makes the WKT record the one that counts
    records: dict[int, bytes]  # records by id: LASF_Projection, that of LASzip, that of COPC

    @property
    def laszip(self) -> bytes:
        """The record that describes the compression; empty if there is none."""
        return self.records.get(LASZIP_RECORD, b"")


def read_las_header(name: str, stream: BinaryIO, file_bytes: int) -> LasHeader:
    """Parse and check the header of a LAS or LAZ file.

    Raises
    ------
    InputError
        If the file is shorter than the header promises, or the header contradicts itself.
    """
    head = stream.read(375)
    if len(head) < HEADER_BYTES:
        raise InputError(f"{name}: {len(head)} bytes, less than a LAS header, need the whole file")
    major, minor = head[24], head[25]
    (encoding,) = struct.unpack_from("<H", head, 6)
    header_bytes, points_at, n_vlrs = struct.unpack_from("<HII", head, 94)
    format_byte, record_bytes, n_points = struct.unpack_from("<BHI", head, 104)
    scales = struct.unpack_from("<3d", head, 131)
    offsets = struct.unpack_from("<3d", head, 155)
    high_x, low_x, high_y, low_y = struct.unpack_from("<4d", head, 179)
    if major != 1 or minor > 4:
        raise InputError(f"{name}: LAS version {major}.{minor}, need 1.0 to 1.4")
    compressed, point_format = bool(format_byte & COMPRESSED_BIT), format_byte & 0x3F
    if point_format >= len(POINT_BYTES) or record_bytes < POINT_BYTES[point_format]:
        raise InputError(
            f"{name}: point format {point_format} of {record_bytes} bytes, need one of LAS 1.0 to 1.4"
        )

    evlrs_at, n_evlrs = 0, 0
    if minor >= 4:
        if len(head) < 375:
            raise InputError(f"{name}: ends inside its header, need the whole file")
        evlrs_at, n_evlrs, n_wide = struct.unpack_from("<QIQ", head, 235)
        n_points = n_wide or n_points  # some writers fill in the old field only
    if not header_bytes <= points_at <= file_bytes:
        raise InputError(f"{name}: ends before its first point, need the whole file")
    if not compressed:
        check_whole(name, n_points, (file_bytes - points_at) // record_bytes)

    records = _records(name, stream, VLR, header_bytes, n_vlrs, points_at)
    if n_evlrs:
        records |= _records(name, stream, EVLR, evlrs_at, n_evlrs, file_bytes)
    return LasHeader(
        n_points=n_points,
        point_format=point_format,
        point_bytes=record_bytes,
        points_at=points_at,
        compressed=compressed,
        scales=scales,
        offsets=offsets,
        extent=(low_x, low_y, high_x, high_y),
        wkt_rules=bool(encoding & WKT_BIT),
        records=records,
    )


def las_placement(name: str, header: LasHeader) -> Placement:
    """CRS and units from the WKT record, the GeoTIFF keys, or both.

    Where both stand in the file and the encoding bit does not settle which one counts, both do: the
    caller refuses what they contradict each other in.  Where it does, the keys may still give the unit
    of height that the WKT leaves open.
    """
    placements = []
    wkt = header.records.get(WKT_RECORD, b"").rstrip(b"\0").strip()
    if wkt:
        placements.append(placement_from_wkt(name, wkt.decode("utf-8", "replace"), "WKT"))
    keys = _numeric_keys(header.records.get(KEYS_RECORD, b""), header.records.get(DOUBLES_RECORD, b""))
    if wkt and header.wkt_rules:
        told = any(claim.vertical for claim in placements[0].claims)
        keys = {} if told else {key: keys[key] for key in (VERTICAL_CRS, VERTICAL_UNITS) if key in keys}
    if keys:
        placements.append(placement_from_geokeys(name, keys))
    return Placement(
        crs=next((p.crs for p in placements if p.crs is not None), None),
        claims=tuple(claim for p in placements for claim in p.claims),
    )


def _records(
    name: str, stream: BinaryIO, head: struct.Struct, start: int, count: int, end: int
) -> dict[int, bytes]:
    """Walk `count` variable length records between two offsets; every length is checked before it is used."""
    found: dict[int, bytes] = {}
    at = start
    if count * head.size > end - start:
        raise InputError(f"{name}: {count} records promised, more than fit the file, need the whole file")
    for _ in range(count):
        stream.seek(at)
        if at + head.size > end:
            raise InputError(f"{name}: ends inside its variable length records, need the whole file")
        user, record, size = head.unpack(stream.read(head.size))
        at += head.size + size
        if at > end:
            raise InputError(f"{name}: record {record} is longer than the file, need the whole file")
        if user.split(b"\0")[0] in OWNERS and size <= MAX_RECORD_BYTES:
            found[record] = stream.read(size)
    return found


def _numeric_keys(directory: bytes, doubles: bytes) -> dict[int, float]:
    """GeoTIFF keys with a number as value; an entry is (id, where, count, value or index)."""
    keys: dict[int, float] = {}
    for at in range(8, len(directory) - 7, 8):
        key, where, count, value = struct.unpack_from("<4H", directory, at)
        if where == 0 and key != 0:
            keys[key] = value
        elif where == DOUBLES_RECORD and count == 1 and 8 * value + 8 <= len(doubles):
            keys[key] = struct.unpack_from("<d", doubles, 8 * value)[0]
    return keys
