"""A picture of few colours as PNG (ISO/IEC 15948:2004, indexed colour); one picture, the same bytes."""

from __future__ import annotations

import struct
import zlib

import numpy as np
import numpy.typing as npt

INDEXED = 3  # colour type


def indexed_png(pixels: npt.NDArray[np.uint8], palette: list[str]) -> bytes:
    """The bytes of a PNG.

    Parameters
    ----------
    pixels : array, shape (h, w)
        Rows of the palette, top row first.
    palette : list of str
        Colours as #rrggbb, 256 at most.
    """
    height, width = pixels.shape
    lines = np.zeros((height, width + 1), dtype=np.uint8)  # each line begins with its filter: none
    lines[:, 1:] = pixels
    return b"".join(
        (
            b"\x89PNG\r\n\x1a\n",
            _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, INDEXED, 0, 0, 0)),
            _chunk(b"PLTE", b"".join(bytes.fromhex(colour[1:]) for colour in palette)),
            _chunk(b"IDAT", zlib.compress(lines.tobytes(), 6)),
            _chunk(b"IEND", b""),
        )
    )


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
