"""cloud.laz: the roof's points in metres, level, each with the plane that it was taken for.

Standard fields of LAS 1.4 alone: classification 6 (building) on a plane and 1 (unclassified) elsewhere, and
the plane's number, A = 1, B = 2, ..., Z = 26, AA = 27, in the extra dimension `plane` (0: none) and, up to
255, in the user data for programs that show no extra dimensions.

References
----------
.. [1] ASPRS, LAS Specification 1.4 - R15: public header block, point data record format 6, extra bytes VLR.
"""

from __future__ import annotations

import io
import struct

import numpy as np
import numpy.typing as npt
import shapely

from ..roof import Frame, Roof
from ..scene import Array, RoofPoints, Segmentation
from .grid import grid_of

HEADER_BYTES, VLR_HEADER_BYTES = 375, 54
POINT_FORMAT, EXTRA_BYTES = 6, 2
STEP_M = 0.001  # of stored coordinates: a tenth of the noise of the best scanners
BUILDING, UNCLASSIFIED = 6, 1  # ASPRS classes
UINT16 = 3  # data type of an extra dimension [1]
WKT_CRS = 1 << 4  # bit of the global encoding [1]
LETTERS = 26
RECORD = np.dtype(
    [
        ("xyz", "<i4", 3), ("intensity", "<u2"), ("returns", "u1"), ("flags", "u1"), ("class", "u1"),
        ("user", "u1"), ("angle", "<i2"), ("source", "<u2"), ("time", "<f8"), ("plane", "<u2"),
    ]
)  # fmt: skip


def plane_number(name: str) -> int:
    """The number of a plane's letters, A = 1; 0 for a name of another kind."""
    if not name.isascii() or not name.isalpha() or not name.isupper():
        return 0
    number = 0
    for letter in name:
        number = LETTERS * number + ord(letter) - ord("A") + 1
    return number if number < 1 << 16 else 0


def cloud_laz(points: RoofPoints, segmentation: Segmentation, roof: Roof) -> bytes:
    """The roof's points and what lies around them, labelled by plane.

    Parameters
    ----------
    points : RoofPoints
    segmentation : Segmentation
        Of those points.
    roof : Roof
        Measured from them, with its state.

    Returns
    -------
    bytes
        A LAZ file without a date: the same bytes for the same input.
    """
    import lazrs  # compiled; only where a cloud is written

    numbers = _numbers(points, segmentation, roof)
    xyz = np.concatenate([points.xyz, points.context])
    records = np.zeros(len(xyz), dtype=RECORD)
    offset = np.floor(roof.frame.origin)
    records["xyz"] = np.rint((xyz + (roof.frame.origin - offset)) / STEP_M)
    n = len(points.xyz)
    last = points.n_returns if points.n_returns is not None else np.ones(n, dtype=np.uint8)
    this = points.return_number if points.return_number is not None else np.ones(n, dtype=np.uint8)
    records["returns"] = 1 | 1 << 4
    records["returns"][:n] = np.minimum(this, 15) | np.minimum(last, 15) << 4
    records["class"] = UNCLASSIFIED
    records["class"][:n][numbers > 0] = BUILDING
    records["plane"][:n] = numbers
    records["user"][:n] = np.where(numbers < 256, numbers, 0)
    if points.strip is not None:
        records["source"][:n] = points.strip

    laz = lazrs.LazVlr.new_for_compression(POINT_FORMAT, EXTRA_BYTES, False)
    wkt = _wkt(roof.frame)
    vlrs = [
        _vlr("LASF_Spec", 4, _extra_dimension(), "Extra Bytes"),
        *([_vlr("LASF_Projection", 2112, wkt.encode() + b"\0", "OGC WKT")] if wkt else []),
        _vlr("laszip encoded", 22204, bytes(laz.record_data()), ""),
    ]
    stream = io.BytesIO()
    stream.write(_header(records, offset, vlrs, with_wkt=bool(wkt)))
    for vlr in vlrs:
        stream.write(vlr)
    compressor = lazrs.LasZipCompressor(stream, laz)
    compressor.compress_many(records.tobytes())
    compressor.done()
    return stream.getvalue()


def _numbers(points: RoofPoints, segmentation: Segmentation, roof: Roof) -> npt.NDArray[np.uint16]:
    """The plane's number of each point; of several faces of one plane the nearest in plan."""
    numbers = np.zeros(len(points.xyz), dtype=np.uint16)
    if roof.state is None:
        return numbers
    faces: dict[int, list[tuple[int, shapely.Polygon]]] = {}
    for name, face in zip(roof.state.plane_ids, roof.state.topology.faces, strict=True):
        outline = next((roof.ring(p.loops[0])[:, :2] for p in roof.planes if p.id == name), None)
        if outline is not None:
            faces.setdefault(face.plane, []).append((plane_number(name), shapely.Polygon(outline)))
    for plane, found in faces.items():
        own = np.flatnonzero(segmentation.labels == plane)
        numbers[own] = found[0][0]
        if len(found) > 1:
            spots = shapely.points(points.xyz[own, :2])
            away = np.column_stack([shapely.distance(outline, spots) for _, outline in found])
            numbers[own] = np.array([number for number, _ in found], dtype=np.uint16)[away.argmin(axis=1)]
    return numbers


def _header(records: npt.NDArray[np.void], offset: Array, vlrs: list[bytes], *, with_wkt: bool) -> bytes:
    """The public header block [1]."""
    n, returns = len(records), records["returns"] & 15
    by_return = [int(np.sum(returns == k)) for k in range(1, 16)]
    low, high = (records["xyz"].min(axis=0), records["xyz"].max(axis=0)) if n else (np.zeros(3), np.zeros(3))
    top, bottom = high * STEP_M + offset, low * STEP_M + offset
    size = RECORD.itemsize
    start = HEADER_BYTES + sum(map(len, vlrs))
    return struct.pack(
        "<4sHH16sBB32s32sHHHIIBHI5I3d3d6dQQIQ15Q",
        b"LASF", 0, WKT_CRS if with_wkt else 0, bytes(16), 1, 4, b"slopewright", b"slopewright", 0, 0,
        HEADER_BYTES, start, len(vlrs), POINT_FORMAT | 0x80, size, 0, *([0] * 5), *([STEP_M] * 3),
        *offset.tolist(), *np.column_stack([top, bottom]).ravel().tolist(), 0, 0, 0, n, *by_return,
    )  # fmt: skip


def _vlr(user: str, record: int, content: bytes, description: str) -> bytes:
    return struct.pack("<H16sHH32s", 0, user.encode(), record, len(content), description.encode()) + content


def _extra_dimension() -> bytes:
    """The descriptor of `plane` [1]: 192 bytes."""
    name, told = b"plane", b"A = 1, Z = 26, AA = 27, 0 none"
    return struct.pack(
        "<2sBB32s4s24s24s24s24s24s32s", bytes(2), UINT16, 0, name, bytes(4), *([bytes(24)] * 5), told
    )


def _wkt(frame: Frame) -> str:
    """The grid as OGC WKT 1, which LAS asks for; empty where none is known, or its unit is no metre."""
    grid = grid_of(frame)
    return grid.wkt if grid is not None and grid.unit_m == 1.0 else ""
