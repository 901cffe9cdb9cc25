"""Damage to bytes and to text: what disks, networks, editors and other programs do to files, and worse."""

import re
import struct

PAGE, PAGE_DATA = 1024, 1020  # of E57, ASTM E2807: a page ends in the CRC-32C of the rest, big-endian
INTEGERS = (
    0,
    1,
    2,
    0x7F,
    0x80,
    0xFF,
    0x7FFF,
    0xFFFF,
    0x7FFFFFFF,
    0x80000000,
    0xFFFFFFFF,
    2**63 - 1,
    2**64 - 1,
)
FLOATS = (0.0, -0.0, 1e-320, 1e-9, 1e9, 1e38, 1e308, -1e308, float("inf"), float("-inf"), float("nan"))
HEADER = 512  # bytes at the start that are hit more often
NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
NASTY_NUMBERS = (
    b"0", b"-1", b"1e308", b"-1e308", b"1e999", b"nan", b"NaN", b"Infinity", b"-inf",
    b"99999999999999999999999", b"0.0000000001",
    b"1_000", b"0x10", b"1,5", b"true", b"null", b'"7"', b"[]", b"{}", b"-0",
    b"1e", b"2147483648",
)  # fmt: skip
NASTY_TEXTS = (
    b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b"'", b",", b"\n", b"\r", b"[" * 3000,
    b'{"a":' * 1500, b"=1+1",
    "‮💥é".encode(), b"../../x", b"A" * 5000, b"\\u0000", b"\t", b";", b"#", b"=", b"]]", b"e" * 40,
)  # fmt: skip


def mutate(kind, seeds, rng):
    """One damaged file.

    `kind` is "binary", "text" or "e57"; `seeds` are whole files; `rng` is a random.Random.
    """
    data = bytearray(rng.choice(seeds))
    steps = {"binary": BINARY, "e57": BINARY, "text": TEXT}[kind]
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8))):
        rng.choice(steps)(data, seeds, rng)
    if kind == "e57" and rng.random() < 0.7:  # else only the check sums are tested
        mend_pages(data)
    return bytes(data)


def _place(data, rng):
    return rng.randrange(min(len(data), HEADER) if rng.random() < 0.5 else len(data)) if data else 0


def flip_bits(data, seeds, rng):
    for _ in range(rng.choice((1, 1, 4, 64))):
        if data:
            data[_place(data, rng)] ^= 1 << rng.randrange(8)


def set_bytes(data, seeds, rng):
    at = _place(data, rng)
    data[at : at + 1] = bytes([rng.choice((0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)))])


def set_number(data, seeds, rng):
    at = _place(data, rng)
    if rng.random() < 0.3:
        block = struct.pack(rng.choice("<>") + "d", rng.choice(FLOATS))
    else:
        size = rng.choice((1, 2, 4, 8))
        block = (rng.choice(INTEGERS) % 256**size).to_bytes(size, rng.choice(("little", "big")))
    data[at : at + len(block)] = block


def cut_end(data, seeds, rng):
    del data[_place(data, rng) :]


def cut_out(data, seeds, rng):
    at = _place(data, rng)
    del data[at : at + rng.choice((1, 2, 4, 8, 16, 200))]


def put_in(data, seeds, rng):
    at = _place(data, rng)
    data[at:at] = rng.randbytes(rng.choice((1, 2, 4, 8, 200)))


def repeat(data, seeds, rng):
    at = _place(data, rng)
    data[at:at] = data[at : at + rng.choice((4, 16, 256, 4096))]


def wipe(data, seeds, rng):
    at, size = _place(data, rng), rng.choice((4, 16, 256, 4096))
    data[at : at + size] = bytes([rng.choice((0, 0xFF))]) * min(size, len(data) - at)


def splice(data, seeds, rng):
    other = rng.choice(seeds)
    at = _place(data, rng)
    data[at:] = other[rng.randrange(len(other)) :]


def swap_number(data, seeds, rng):
    found = list(NUMBER.finditer(data))
    if found:
        spot = rng.choice(found)
        data[spot.start() : spot.end()] = rng.choice(NASTY_NUMBERS)


def put_text(data, seeds, rng):
    at = rng.randrange(len(data) + 1)
    data[at:at] = rng.choice(NASTY_TEXTS)


def drop_line(data, seeds, rng):
    lines = data.split(b"\n")
    del lines[rng.randrange(len(lines))]
    data[:] = b"\n".join(lines)


def move_line(data, seeds, rng):
    lines = data.split(b"\n")
    line = lines[rng.randrange(len(lines))]
    lines.insert(rng.randrange(len(lines) + 1), line)
    data[:] = b"\n".join(lines)


def swap_words(data, seeds, rng):
    words = list(re.finditer(rb'"[^"\n]{1,40}"|\b\w{1,40}\b', data))
    if len(words) > 1:
        first, second = rng.choice(words), rng.choice(words)
        data[first.start() : first.end()] = bytes(second.group())


BINARY = (
    flip_bits,
    flip_bits,
    set_bytes,
    set_number,
    set_number,
    cut_end,
    cut_out,
    put_in,
    repeat,
    wipe,
    splice,
)
TEXT = (
    swap_number,
    swap_number,
    put_text,
    drop_line,
    move_line,
    swap_words,
    flip_bits,
    cut_end,
    cut_out,
    splice,
)


def _crc_table():
    table = []
    for byte in range(256):
        for _ in range(8):
            byte = byte >> 1 ^ (0x82F63B78 if byte & 1 else 0)  # CRC-32C (Castagnoli), RFC 3720 B.4
        table.append(byte)
    return table


CRC_TABLE = _crc_table()


def crc32c(block):
    """CRC-32C of bytes."""
    value = 0xFFFFFFFF
    for byte in block:
        value = value >> 8 ^ CRC_TABLE[(value ^ byte) & 0xFF]
    return value ^ 0xFFFFFFFF


def mend_pages(data):
    """Make the check sums of an E57 file's pages right again."""
    for at in range(0, len(data) - PAGE + 1, PAGE):
        data[at + PAGE_DATA : at + PAGE] = struct.pack(">I", crc32c(data[at : at + PAGE_DATA]))
