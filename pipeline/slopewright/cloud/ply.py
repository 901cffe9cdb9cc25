"""PLY, ascii and binary of either byte order: the vertices, whatever else the file holds.

Format: G. Turk, "The PLY Polygon File Format" (Stanford, 1994); number type names of common writers added.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ..errors import InputError
from .damage import check_whole
from .raw import AXES, RawCloud
from .records import coordinate_step, read_records
from .table import Table, is_count

MAX_HEADER = 1 << 20  # bytes; a header is a few hundred
TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1",
    "short": "i2", "int16": "i2", "ushort": "u2", "uint16": "u2",
    "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4",
    "int64": "i8", "uint64": "u8",
    "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip
ORDERS = {"ascii": "=", "binary_little_endian": "<", "binary_big_endian": ">"}
SHORTEST_ROW = 6  # bytes of a row of three numbers in ascii: "1 2 3\n"


@dataclass(slots=True)
class _Element:
    name: str
    count: int
    properties: list[tuple[str, str]] = field(default_factory=list)  # name, numpy type without byte order
    has_lists: bool = False


@dataclass(frozen=True, slots=True)
class _Header:
    order: str  # byte order, "=" for ascii
    elements: list[_Element]
    n_bytes: int
    n_lines: int


def read_ply(path: Path) -> RawCloud:
    """Read x, y, z of the vertices of a PLY file; faces and other properties are passed over.

    Raises
    ------
    InputError
        If the header cannot be understood, or the file is shorter than it promises.
    """
    name = path.name
    header = _read_header(path)
    before: list[_Element] = []
    vertex = None
    for element in header.elements:
        if element.name == "vertex":
            vertex = element
            break
        before.append(element)
    if vertex is None:
        raise InputError(f"{name}: no element vertex in the header, need points")
    names = [prop for prop, _ in vertex.properties]
    missing = [axis for axis in AXES if names.count(axis) != 1]
    if missing:
        raise InputError(f"{name}: element vertex has no single property {missing[0]}, need x, y, z")
    if vertex.has_lists or (header.order != "=" and any(element.has_lists for element in before)):
        raise InputError(f"{name}: lists in or before element vertex, need vertices of plain numbers first")

    types = dict(vertex.properties)
    if header.order == "=":
        columns = (names.index("x"), names.index("y"), names.index("z"))
        return _read_ascii(path, header, vertex.count, sum(e.count for e in before), columns)
    record = np.dtype([(prop, header.order + kind) for prop, kind in _unique(vertex.properties)])
    skipped = sum(e.count * sum(int(kind[1]) for _, kind in e.properties) for e in before)
    xyz = read_records(path, header.n_bytes + skipped, record, vertex.count)
    return RawCloud(xyz=xyz, step=coordinate_step(xyz, [np.dtype(types[axis]) for axis in AXES]))


def _read_ascii(
    path: Path, header: _Header, n_points: int, n_before: int, columns: tuple[int, int, int]
) -> RawCloud:
    """Vertices of an ascii file, one a line."""
    most = path.stat().st_size // SHORTEST_ROW
    table = Table(
        path=path,
        first_line=header.n_lines + 1 + min(n_before, path.stat().st_size),
        columns=columns,
        max_rows=min(n_points, most),
    )
    xyz = table.load()
    check_whole(path.name, n_points, len(xyz))
    return RawCloud(xyz=xyz, step=np.zeros(3), name_row=table.line_of)


def _read_header(path: Path) -> _Header:
    with path.open("rb") as stream:
        head = stream.read(MAX_HEADER)
    end = head.find(b"end_header")
    if end < 0:
        raise InputError(f"{path.name}: no end_header, need the whole file")
    close = b"\r\n" if head[3:5] == b"\r\n" else head[3:4]
    n_bytes = end + len(b"end_header") + len(close)
    lines = head[:end].decode("ascii", "replace").splitlines()
    order: str | None = None
    elements: list[_Element] = []
    for number, line in enumerate(lines, 1):
        match line.split():
            case ["format", kind, _] if kind in ORDERS:
                order = ORDERS[kind]
            case ["element", name, count] if is_count(count):
                elements.append(_Element(name, int(count)))
            case ["property", "list", count_type, item_type, _] if (
                elements and count_type in TYPES and item_type in TYPES
            ):
                elements[-1].has_lists = True
            case ["property", kind, name] if elements and kind in TYPES:
                elements[-1].properties.append((name, TYPES[kind]))
            case ["ply"] | ["comment" | "obj_info", *_] | []:
                continue
            case _:
                raise InputError(f"{path.name}: line {number}: {line[:40]!r}, need a PLY 1.0 header")
    if order is None:
        raise InputError(f"{path.name}: no format line, need a PLY 1.0 header")
    return _Header(order, elements, n_bytes, len(lines) + 1)


def _unique(properties: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """Properties with names that numpy accepts as fields; only x, y and z matter by name."""
    return [(name if name in AXES else f"_{i}", kind) for i, (name, kind) in enumerate(properties)]
