"""Decompression of LAZ points, after the sizes that the file states have been checked against its own length.

The decoder believes what it is told: a layer said to have 4 GB is given 4 GB.  So the chunk table and the
layer sizes are read here first.  Layout: the LAZ specification 1.4 R1 of the LASzip project (record 22204,
chunk table, layered chunks).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Any, BinaryIO

from ..errors import InputError
from .damage import check_whole, native_errors

LAYERED = 3  # compressor that splits a chunk into layers, used for point formats 6 to 10
LAYERS = {10: 9, 11: 1, 12: 2, 13: 1}  # by item type: point, RGB, RGB and near infrared, wave packet
EXTRA_BYTES_ITEM = 14  # one layer a byte
ITEMS_AT = 34  # where the list of items begins in the record
AT_END = -1  # in place of the table's offset: it stands in the last eight bytes


def read_laz_points(
    name: str, stream: BinaryIO, record: bytes, points_at: int, n_points: int, point_bytes: int, chunk: int
) -> Iterator[bytearray]:
    """Decompress points, `chunk` at a time; only the fields that are wanted where the format allows.

    Parameters
    ----------
    stream : binary file
        Seekable.
    record : bytes
        The LASzip record (22204) of the file.
    points_at : int
        Offset of the point data [byte].
    n_points, point_bytes : int
        Number of points and size of one of them, from the LAS header.

    Raises
    ------
    InputError
        If the file is truncated or damaged.
    """
    import lazrs

    items = _items(name, record, point_bytes)
    _check_chunks(name, stream, record, items, points_at, n_points)
    with native_errors(name):
        stream.seek(points_at)
        decoder = lazrs.LasZipDecompressor(stream, record, _wanted())
        for start in range(0, n_points, chunk):
            block = bytearray(min(chunk, n_points - start) * point_bytes)
            decoder.decompress_many(block)
            yield block


def read_laz_chunk(name: str, chunk: bytes, record: bytes, point_bytes: int, n_points: int) -> bytearray:
    """Decompress one chunk that was read by itself, as a COPC file's nodes are.

    Parameters
    ----------
    chunk : bytes
        The whole chunk.
    record, point_bytes
        As in `read_laz_points`.
    n_points : int
        Points that the chunk is said to hold.

    Raises
    ------
    InputError
        If it is damaged.
    """
    import lazrs

    items = _items(name, record, point_bytes)
    head = _chunk_head(record, items)
    if head is None:
        raise InputError(f"{name}: a COPC file whose chunks have no layers, need a valid COPC")
    check_whole(name, n_points, _check_layers(name, chunk, head, len(chunk)))
    points = bytearray(n_points * point_bytes)
    with native_errors(name):
        table = [(n_points, len(chunk))]
        lazrs.decompress_points_with_chunk_table(chunk, record, points, table, _wanted())
    return points


def _wanted() -> Any:
    """The fields of a point that are decoded; the others stay zero where the format allows."""
    import lazrs

    return lazrs.DecompressionSelection(
        lazrs.SELECTIVE_DECOMPRESS_XY_RETURNS_CHANNEL
        | lazrs.SELECTIVE_DECOMPRESS_Z
        | lazrs.SELECTIVE_DECOMPRESS_CLASSIFICATION
        | lazrs.SELECTIVE_DECOMPRESS_FLAGS
        | lazrs.SELECTIVE_DECOMPRESS_POINT_SOURCE_ID
    )


def _items(name: str, record: bytes, point_bytes: int) -> list[tuple[int, int]]:
    """Type and size [byte] of the items that make up a point."""
    if len(record) < ITEMS_AT:
        raise InputError(f"{name}: no complete LASzip record, need a valid LAZ")
    (count,) = struct.unpack_from("<H", record, ITEMS_AT - 2)
    if len(record) < ITEMS_AT + 6 * count:
        raise InputError(f"{name}: no complete LASzip record, need a valid LAZ")
    items: list[tuple[int, int]] = [struct.unpack_from("<HH", record, ITEMS_AT + 6 * i) for i in range(count)]
    if sum(size for _, size in items) != point_bytes:
        raise InputError(f"{name}: LASzip record and header differ on the size of a point, need a valid LAZ")
    return items


def _chunk_head(record: bytes, items: list[tuple[int, int]]) -> struct.Struct | None:
    """What a layered chunk begins with: its first point, its number of points, the sizes of its layers."""
    (compressor,) = struct.unpack_from("<H", record, 0)
    if compressor != LAYERED:
        return None
    n_layers = sum(size if kind == EXTRA_BYTES_ITEM else LAYERS.get(kind, 0) for kind, size in items)
    return struct.Struct(f"<{sum(size for _, size in items)}xI{n_layers}I")


def _check_layers(name: str, raw: bytes, head: struct.Struct, n_bytes: int) -> int:
    """Refuse layers that do not fill their chunk; returns the number of points it holds.

    The decoder looks for the next chunk where the last layer ended, and takes what stands there for sizes.
    """
    n_points, *layers = head.unpack_from(raw) if len(raw) >= head.size else (0, n_bytes)
    if head.size + sum(layers) != n_bytes:
        raise InputError(f"{name}: damaged, layers longer or shorter than their chunk, need the whole file")
    return int(n_points)


def _check_chunks(
    name: str, stream: BinaryIO, record: bytes, items: list[tuple[int, int]], points_at: int, n_points: int
) -> None:
    """Refuse a chunk table or layer sizes that go beyond the file, and more points than the chunks have."""
    import lazrs

    point_bytes = sum(size for _, size in items)
    end = stream.seek(0, 2)
    table_at = _table_offset(name, stream, points_at, end)
    stream.seek(table_at)
    _, n_chunks = struct.unpack("<II", stream.read(8))
    if n_chunks * point_bytes > table_at - points_at:
        raise InputError(f"{name}: {n_chunks} chunks promised, more than fit the file, need the whole file")
    with native_errors(name):
        stream.seek(points_at)
        chunks = lazrs.read_chunk_table(stream, lazrs.LazVlr(record))
    if sum(n_bytes for _, n_bytes in chunks) > table_at - points_at:
        raise InputError(f"{name}: chunks longer than the file, need the whole file")
    check_whole(name, n_points, sum(n for n, _ in chunks))
    head = _chunk_head(record, items)
    if head is None:
        return
    at = points_at + 8
    n_held = 0
    for _, n_bytes in chunks:
        stream.seek(at)
        n_held += _check_layers(name, stream.read(head.size), head, n_bytes)
        at += n_bytes
    check_whole(name, n_points, n_held)


def _table_offset(name: str, stream: BinaryIO, points_at: int, end: int) -> int:
    for where in (points_at, end - 8):
        stream.seek(max(0, where))
        raw = stream.read(8)
        offset = struct.unpack("<q", raw)[0] if len(raw) == 8 else 0
        if offset != AT_END:
            break
    if not points_at + 8 <= offset <= end - 8:
        raise InputError(f"{name}: truncated, no chunk table where the file says, need the whole file")
    return int(offset)
