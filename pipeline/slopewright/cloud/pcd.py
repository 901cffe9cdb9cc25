"""PCD 0.7: ascii, binary and binary_compressed.

Format: "The PCD (Point Cloud Data) file format", documentation of the Point Cloud Library.  VIEWPOINT tells
where the sensor stood; coordinates are used as they are.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..errors import InputError
from ..scene import Array, Notice
from .damage import check_whole
from .lzf import LzfError, lzf_decompress
from .raw import AXES, RawCloud
from .records import coordinate_step, read_records
from .table import Table, is_count

MAX_HEADER = 1 << 16  # bytes; a header is a few hundred
KEYWORDS = {"VERSION", "FIELDS", "SIZE", "TYPE", "COUNT", "WIDTH", "HEIGHT", "VIEWPOINT", "POINTS", "DATA"}
KINDS = {"F": "f", "I": "i", "U": "u"}
SIZES = {"F": (4, 8), "I": (1, 2, 4, 8), "U": (1, 2, 4, 8)}
SHORTEST_ROW = 6  # bytes of a row of three numbers in ascii: "1 2 3\n"


@dataclass(frozen=True, slots=True)
class _Header:
    fields: list[str]
    dtypes: list[np.dtype[np.generic]]
    counts: list[int]
    n_points: int
    organised: bool  # rows and columns of a depth image, in which pixels without a return are NaN
    data: str
    n_bytes: int
    n_lines: int

    def dtype_of(self, axis: str) -> np.dtype[np.generic]:
        return self.dtypes[self.fields.index(axis)]


def looks_like_pcd(head: bytes) -> bool:
    """Whether the start of a file is a PCD header."""
    lines = (line.split() for line in head.splitlines() if not line.startswith(b"#"))
    first = next((words for words in lines if words), [b""])
    return first[0] in (b"VERSION", b"FIELDS")


def read_pcd(path: Path) -> RawCloud:
    """Read x, y, z of a PCD file; in an organised cloud NaN means no return and is left out.

    Raises
    ------
    InputError
        If the header cannot be understood, or the file is shorter than it promises.
    """
    header = _read_header(path)
    if header.data == "ascii":
        raw = _read_ascii(path, header)
    else:
        read = _read_binary if header.data == "binary" else _read_compressed
        xyz = read(path, header)
        raw = RawCloud(xyz=xyz, step=coordinate_step(xyz, [header.dtype_of(axis) for axis in AXES]))
    return _without_missing(raw) if header.organised else raw


def _read_ascii(path: Path, header: _Header) -> RawCloud:
    starts = np.concatenate([[0], np.cumsum(header.counts)])
    x, y, z = (int(starts[header.fields.index(axis)]) for axis in AXES)
    most = path.stat().st_size // SHORTEST_ROW
    table = Table(
        path=path,
        first_line=header.n_lines + 1,
        columns=(x, y, z),
        max_rows=min(header.n_points, most),
    )
    xyz = table.load()
    check_whole(path.name, header.n_points, len(xyz))
    return RawCloud(xyz=xyz, step=np.zeros(3), name_row=table.line_of)


def _read_binary(path: Path, header: _Header) -> Array:
    columns = zip(header.fields, header.dtypes, header.counts, strict=True)
    fields = [(f if f in AXES else f"_{i}", kind, (n,)) for i, (f, kind, n) in enumerate(columns)]
    record = np.dtype([(f, kind) if f in AXES else (f, kind, n) for f, kind, n in fields])
    return read_records(path, header.n_bytes, record, header.n_points)


def _read_compressed(path: Path, header: _Header) -> Array:
    """All values of the first field, then of the next: LZF compressed behind two sizes."""
    name, n = path.name, header.n_points
    with path.open("rb") as stream:
        stream.seek(header.n_bytes)
        sizes = stream.read(8)
        packed, unpacked = struct.unpack("<II", sizes) if len(sizes) == 8 else (0, 0)
        data = stream.read(packed) if packed <= path.stat().st_size else b""
    point_bytes = sum(d.itemsize * c for d, c in zip(header.dtypes, header.counts, strict=True))
    if len(data) < packed or len(sizes) < 8:
        raise InputError(f"{name}: truncated, {packed} compressed bytes promised, need the whole file")
    if unpacked != n * point_bytes:
        raise InputError(f"{name}: {unpacked} bytes for {n} points of {point_bytes}, need the same")
    try:
        block = lzf_decompress(data, unpacked)
    except LzfError as error:
        raise InputError(f"{name}: damaged compressed data ({error}), need the whole file") from error
    ends = np.cumsum([n * d.itemsize * c for d, c in zip(header.dtypes, header.counts, strict=True)])
    xyz = np.empty((n, 3))
    for axis, field in enumerate(AXES):
        dtype = header.dtype_of(field)
        start = int(ends[header.fields.index(field)]) - n * dtype.itemsize
        with np.errstate(invalid="ignore"):  # NaN of a damaged file; refused later
            xyz[:, axis] = np.frombuffer(block, dtype=dtype, count=n, offset=start)
    return xyz


def _without_missing(raw: RawCloud) -> RawCloud:
    """Leave out the pixels that saw nothing."""
    missing = np.isnan(raw.xyz).any(axis=1)
    n_missing = int(np.count_nonzero(missing))
    if n_missing == 0:
        return raw
    rows = np.flatnonzero(~missing)
    text = f"{n_missing:,} pixels without a return left out"
    return RawCloud(
        xyz=raw.xyz[rows],
        step=raw.step,
        notices=(Notice(code="missing_dropped", text=text),),
        name_row=lambda row: raw.name_row(int(rows[row])),
    )


def _read_header(path: Path) -> _Header:
    name = path.name
    with path.open("rb") as stream:
        head = stream.read(MAX_HEADER)
    values: dict[str, list[str]] = {}
    at = n_lines = 0
    while "DATA" not in values:
        end = head.find(b"\n", at)
        if end < 0:
            raise InputError(f"{name}: no DATA line, need the whole file")
        words = head[at:end].decode("ascii", "replace").split()
        at, n_lines = end + 1, n_lines + 1
        if words and not words[0].startswith("#"):
            if words[0] not in KEYWORDS:
                raise InputError(f"{name}: line {n_lines}: {words[0][:40]!r}, need a PCD 0.7 header")
            values[words[0]] = words[1:]

    fields = values.get("FIELDS", [])
    missing = [axis for axis in AXES if fields.count(axis) != 1]
    if missing:
        raise InputError(f"{name}: FIELDS has no single {missing[0]}, need x y z")
    kinds = values.get("TYPE", [])
    sizes = _integers(name, "SIZE", values.get("SIZE", []))
    counts = _integers(name, "COUNT", values.get("COUNT", ["1"] * len(fields)))
    if not len(fields) == len(kinds) == len(sizes) == len(counts):
        raise InputError(f"{name}: FIELDS, SIZE, TYPE and COUNT of different lengths, need one entry a field")
    for f, kind, size, count in zip(fields, kinds, sizes, counts, strict=True):
        if size not in SIZES.get(kind, ()) or not 1 <= count <= MAX_HEADER or (f in AXES and count != 1):
            raise InputError(
                f"{name}: field {f}: TYPE {kind} SIZE {size} COUNT {count}, need a PCD 0.7 header"
            )
    shape = _integers(name, "WIDTH and HEIGHT", values.get("WIDTH", []) + values.get("HEIGHT", []))
    points = _integers(name, "POINTS", values.get("POINTS", []))
    if len(shape) != 2 or len(points) > 1 or (points and points[0] != shape[0] * shape[1]):
        raise InputError(f"{name}: WIDTH, HEIGHT and POINTS do not agree, need a PCD 0.7 header")
    data = " ".join(values["DATA"])
    if data not in ("ascii", "binary", "binary_compressed"):
        raise InputError(f"{name}: DATA {data[:40]!r}, need ascii, binary or binary_compressed")
    return _Header(
        fields=fields,
        dtypes=[np.dtype(f"<{KINDS[kind]}{size}") for kind, size in zip(kinds, sizes, strict=True)],
        counts=counts,
        n_points=shape[0] * shape[1],
        organised=shape[1] > 1,
        data=data,
        n_bytes=at,
        n_lines=n_lines,
    )


def _integers(name: str, keyword: str, words: list[str]) -> list[int]:
    if not all(map(is_count, words)):
        raise InputError(f"{name}: {keyword} is {' '.join(words)[:40]!r}, need whole numbers")
    return [int(word) for word in words]
