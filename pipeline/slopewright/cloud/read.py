"""One cloud file in any format to metres at a local origin, with everything refused that would mislead."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import DegenerateGeometryError, InputError
from ..scene import Array, Cloud, Notice
from ..units import METRES_PER_UNIT
from .crs import check_stretch
from .pcd import looks_like_pcd, read_pcd
from .plausible import check_degrees, check_size
from .raw import Placement, RawCloud
from .resolve import check_unit, resolve_units
from .strays import near_points

FORMATS = "LAS, LAZ, COPC, PLY, PCD, E57, XYZ/CSV text"
MIN_POINTS = 50  # fewer fix no roof
LINE_RATIO = 1e-4  # width over length below which the points are a line
STEP_NOTICE_M, STEP_REFUSED_M = 0.02, 0.1  # coordinate steps that add to the noise; that drown a roof edge
LARGEST = 1e11  # file units: ten times the northing of a pole in millimetres
HEAD = 4096  # bytes looked at to tell the format


def read_cloud(path: Path | str, *, unit: str | None = None, keep: Collection[int] | None = None) -> Cloud:
    """Read a point cloud into metres, shifted to a local origin.

    Parameters
    ----------
    path : path
        LAS 1.0-1.4, LAZ, COPC, PLY, PCD, E57 or text.  The format is told by the content.
    unit : str, optional
        "m", "ft" or "us-ft" of all coordinates, for a file that does not say.
    keep : collection of int, optional
        ASPRS classes to keep; by default all but noise.  Only for files that are classified.

    Returns
    -------
    Cloud
        Points in the order of the file, duplicates included; origin is whole metres.

    Raises
    ------
    InputError
        If the file cannot be read whole, its unit is unknown or contradicted, its coordinate system
        distorts lengths, or its size makes no sense for a house.
    DegenerateGeometryError
        If all points lie on a line.
    """
    path = Path(path)
    name = path.name
    check_unit(unit)
    try:
        raw = _read(path, keep)
    except MemoryError as error:
        raise InputError(f"{name}: too large for this machine's memory, need a smaller cut") from error
    except OSError as error:
        raise InputError(f"{name}: {error.strerror or error}, need a readable file") from error

    if len(raw.xyz) < MIN_POINTS:
        raise InputError(f"{name}: {len(raw.xyz)} points, need at least {MIN_POINTS}")
    _check_finite(name, raw)
    horizontal, vertical, assumed = resolve_units(name, raw.placement, unit)
    stretched = _stretch(name, raw.placement, raw.xyz)
    metres = np.array([METRES_PER_UNIT[u] for u in (horizontal, horizontal, vertical)])
    coarse = _check_step(name, raw.step * metres)
    raw.xyz[:] *= metres  # in place, here and below: a copy of millions of points is dear
    near, strays = near_points(raw.xyz)
    xyz = raw.xyz if near is None else raw.xyz[near]
    origin = np.floor(xyz.min(axis=0))
    xyz -= origin
    cloud = Cloud(
        xyz=xyz,
        origin=origin,
        crs=raw.placement.crs,
        classes=_kept(raw.classes, near),
        n_returns=_kept(raw.n_returns, near),
        return_number=_kept(raw.return_number, near),
        strip=_kept(raw.strip, near),
        name=name,
        unit=horizontal,
        notices=raw.placement.notices + raw.notices + strays + assumed + stretched + coarse,
    )
    check_degrees(cloud)
    _check_spread(name, xyz)
    check_size(cloud)
    return cloud


def _kept(values: npt.NDArray[Any] | None, near: npt.NDArray[np.bool_] | None) -> npt.NDArray[Any] | None:
    return values if values is None or near is None else values[near]


def _read(path: Path, keep: Collection[int] | None) -> RawCloud:
    """Read by content; readers are loaded only when they are needed."""
    name = path.name or str(path)
    if path.is_dir():
        raise InputError(f"{name}: a folder, need one cloud file ({FORMATS})")
    if not path.exists():
        raise InputError(f"{name}: no such file, need a cloud file ({FORMATS})")
    if not path.is_file():
        raise InputError(f"{name}: not a regular file, need a cloud file ({FORMATS})")
    with path.open("rb") as stream:
        head = stream.read(HEAD)
    if not head:
        raise InputError(f"{name}: empty file, need a cloud file ({FORMATS})")
    if head.startswith(b"LASF"):
        from .las import read_las

        return read_las(path, keep=keep)
    if keep is not None:
        raise InputError(f"{name}: classes to keep were given but the format has none, need LAS or LAZ")
    if head.startswith(b"ply") and head[3:4] in (b"\n", b"\r"):
        from .ply import read_ply

        return read_ply(path)
    if head.startswith(b"ASTM-E57"):
        from .e57 import read_e57

        return read_e57(path)
    if looks_like_pcd(head):
        return read_pcd(path)
    if looks_like_text(head):
        from .text import read_text

        return read_text(path)
    raise InputError(f"{name}: not a point cloud we know, need {FORMATS}")


def looks_like_text(head: bytes) -> bool:
    """Whether the start of a file is text: no control characters but tab and line ends."""
    return not any(byte < 32 and byte not in b"\t\n\r\f" for byte in head)


def _check_finite(name: str, raw: RawCloud) -> None:
    largest = max(-raw.xyz.min(), raw.xyz.max())  # NaN and infinity come through
    if largest > LARGEST and np.isfinite(largest):
        raise InputError(f"{name}: coordinates up to {largest:.3g}, need coordinates on Earth")
    if not np.isfinite(largest):
        bad = np.flatnonzero(~np.isfinite(raw.xyz).all(axis=1))
        first = raw.name_row(int(bad[0]))
        raise InputError(
            f"{name}: {len(bad)} points with NaN or infinite coordinates (first: {first}), need them removed"
        )


def _stretch(name: str, placement: Placement, xyz: Array) -> tuple[Notice, ...]:
    if placement.crs is None:
        return ()
    x, y = np.median(xyz[:: max(1, len(xyz) // 10_000), :2], axis=0)
    return check_stretch(name, placement.crs, float(x), float(y))


def _check_step(name: str, step_m: Array) -> tuple[Notice, ...]:
    """Coordinates stored too coarsely: 32-bit floats of map coordinates step by decimetres."""
    worst = float(step_m.max())
    if worst > STEP_REFUSED_M:
        raise InputError(
            f"{name}: coordinates are stored in steps of {worst:.2g} m,"
            f" need {STEP_REFUSED_M:g} m or finer (64-bit floats, or shifted to a local origin)"
        )
    if worst > STEP_NOTICE_M:
        return (Notice(code="coarse_coordinates", text=f"coordinates are stored in steps of {worst:.2g} m"),)
    return ()


def _check_spread(name: str, xyz: Array) -> None:
    centred = xyz - xyz.mean(axis=0)
    spread = np.sqrt(np.maximum(np.linalg.eigvalsh(centred.T @ centred / len(xyz)), 0.0))
    if spread[1] <= LINE_RATIO * spread[2]:
        raise DegenerateGeometryError(f"{name}: all points lie on a line, need points spread over a roof")
