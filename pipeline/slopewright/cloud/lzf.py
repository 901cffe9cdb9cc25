"""LZF decompression, as used by PCD files with DATA binary_compressed.

Format: M. Lehmann, LibLZF.  A control byte below 32 announces that many plus one literal bytes; any other
holds the length minus two of a repeat in its upper three bits (seven: one more byte of length follows)
and, with the next byte, its distance minus one.
"""

from __future__ import annotations

LONGEST_REPEAT = 264  # bytes that three bytes can expand to: the limit of compression


class LzfError(ValueError):
    """The data are not LZF, or not of the size announced."""


def lzf_decompress(data: bytes, size: int) -> bytearray:
    """Expand LZF data to exactly `size` bytes.

    Raises
    ------
    LzfError
        If the data end early, refer to before their start, or expand to another size.
    """
    if size > len(data) * LONGEST_REPEAT:
        raise LzfError(f"{size} bytes cannot come from {len(data)}")
    out = bytearray()
    at, end = 0, len(data)
    try:
        while at < end:
            control = data[at]
            at += 1
            if control < 32:
                run = control + 1
                if at + run > end:
                    raise LzfError("ends inside a literal run")
                out += data[at : at + run]
                at += run
                continue
            length = control >> 5
            if length == 7:
                length += data[at]
                at += 1
            length += 2
            distance = ((control & 31) << 8) + data[at] + 1
            at += 1
            start = len(out) - distance
            if start < 0:
                raise LzfError("repeat before the start")
            if distance >= length:
                out += out[start : start + length]
            else:  # a repeat may run into what it is writing
                piece = bytes(out[start:])
                out += (piece * (length // distance + 1))[:length]
            if len(out) > size:
                break
    except IndexError as error:
        raise LzfError("ends inside a repeat") from error
    if len(out) != size:
        raise LzfError(f"expands to {len(out)} bytes, announced {size}")
    return out
