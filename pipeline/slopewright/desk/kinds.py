"""Which files a job may hold: told by ending and by first bytes, so that a renamed archive is refused.

Nothing is unpacked or run on arrival; stages read files later, in a process of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import InputError
from ..job.load import CLOUD_SUFFIXES, PHOTO_SUFFIXES, TEXT_SUFFIXES

HEAD_BYTES = 512  # enough for every signature below
GIB, MIB = 2**30, 2**20


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of file."""

    name: str  # "cloud", "photo", "job", "marks", "footprint", "system" or "table"
    most_bytes: int
    starts: tuple[bytes, ...] = ()  # signatures; none: text


_CLOUD = {
    ".las": (b"LASF",),
    ".laz": (b"LASF",),
    ".ply": (b"ply",),
    ".pcd": (b"# .PCD", b"VERSION"),
    ".e57": (b"ASTM-E57",),
}
_PHOTO = {
    ".jpg": (b"\xff\xd8\xff",),
    ".jpeg": (b"\xff\xd8\xff",),
    ".png": (b"\x89PNG\r\n\x1a\n",),
    ".tif": (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),
    ".tiff": (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),
}
_HEIF = (".heic", ".heif")  # the signature stands behind a length
CLOUD = Kind(name="cloud", most_bytes=16 * GIB)  # a survey tile of a square kilometre has a few
PHOTO = Kind(name="photo", most_bytes=256 * MIB)  # twice an uncompressed photo of 40 megapixels
OWN = {
    "job.toml": Kind(name="job", most_bytes=MIB),
    "marks.json": Kind(name="marks", most_bytes=16 * MIB),
}
TEXT = {
    ".toml": Kind(name="system", most_bytes=MIB),
    ".geojson": Kind(name="footprint", most_bytes=16 * MIB),
}


def kind_of(name: str) -> Kind:
    """The kind of a file by its name.

    Raises
    ------
    InputError
        If a job has no use for it, with what it takes.
    """
    suffix = "." + name.rpartition(".")[2].lower() if "." in name else ""
    if name in OWN:
        return OWN[name]
    if suffix in TEXT:
        return TEXT[suffix]
    if suffix in CLOUD_SUFFIXES or suffix in TEXT_SUFFIXES:
        return Kind(name="cloud", most_bytes=CLOUD.most_bytes, starts=_CLOUD.get(suffix, ()))
    if suffix in PHOTO_SUFFIXES:
        return Kind(name="photo", most_bytes=PHOTO.most_bytes, starts=_PHOTO.get(suffix, (b"",)))
    taken = " ".join(sorted(s[1:] for s in {*CLOUD_SUFFIXES, *TEXT_SUFFIXES, *PHOTO_SUFFIXES}))
    hint = "; take photos out of a video" if suffix in {".mp4", ".mov", ".avi", ".mkv"} else ""
    unpack = "; unpack it first" if suffix in {".zip", ".gz", ".7z", ".rar", ".tar", ".bz2", ".xz"} else ""
    raise InputError(f"{name}: a job has no use for it, need photos or a cloud ({taken}){hint}{unpack}")


def check_size(name: str, n_bytes: int) -> None:
    """Refuse a file that is empty or too large for its kind.

    Raises
    ------
    InputError
        With the limit.
    """
    most = kind_of(name).most_bytes
    if n_bytes <= 0:
        raise InputError(f"{name}: empty, need a file with something in it")
    if n_bytes > most:
        limit = f"{most / GIB:.0f} GB" if most >= GIB else f"{most / MIB:.0f} MB"
        raise InputError(f"{name}: {n_bytes / MIB:,.0f} MB, a {kind_of(name).name} may have {limit}")


def check_head(name: str, head: bytes) -> None:
    """Refuse a file whose first bytes are not those of its ending.

    Raises
    ------
    InputError
        With what was found.
    """
    kind = kind_of(name)
    suffix = "." + name.rpartition(".")[2].lower()
    if suffix in _HEIF:
        fits = head[4:8] == b"ftyp"
    elif kind.starts:
        fits = head.startswith(kind.starts)
    else:
        fits = b"\0" not in head
    if not fits:
        raise InputError(f"{name}: its content is not that of a {suffix} file{_found(head)}")


def _found(head: bytes) -> str:
    known = {
        b"PK": "a zip archive",
        b"\x1f\x8b": "a gzip archive",
        b"%PDF": "a PDF",
        b"\xff\xd8\xff": "a JPEG photo",
        b"LASF": "a LAS cloud",
        b"<": "a web page",
        b"MZ": "a program",
        b"\x7fELF": "a program",
    }
    return next((f", it begins like {what}" for start, what in known.items() if head.startswith(start)), "")
