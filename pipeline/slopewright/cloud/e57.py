"""E57: all scans of a file, placed by their poses.  ASTM E2807: metres, radians, unit quaternions.

The low-level library is used rather than the reader beside it, which holds several copies of a scan and
takes the parts of a pose by position instead of by name.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError
from ..scene import Array, Notice
from .crs import placement_from_wkt
from .damage import check_whole, native_errors
from .raw import AXES, Placement, RawCloud, UnitClaim

CHUNK = 500_000  # points decoded at a time
CARTESIAN = ("cartesianX", "cartesianY", "cartesianZ")
SPHERICAL = ("sphericalRange", "sphericalAzimuth", "sphericalElevation")
QUATERNION_TOLERANCE = 1e-3  # of its length from one; beyond this it is no rotation
STANDARD = UnitClaim(source="E57 standard", horizontal="m", vertical="m")


def read_e57(path: Path) -> RawCloud:
    """Read the points of all scans in the file's common frame; points flagged as invalid are left out.

    Raises
    ------
    InputError
        If the file is truncated or damaged, or a scan has no coordinates.
    """
    name = path.name
    chunks: list[Array] = []
    step = np.zeros(3)
    n_invalid = 0
    with native_errors(name):
        from pye57 import libe57

        image = libe57.ImageFile(str(path), "r")
        try:
            root = image.root()
            placement = _placement(name, root)
            scans = root["data3D"] if root.isDefined("data3D") else []
            for index in range(len(scans)):
                n_invalid += _read_scan(name, libe57, image, scans[index], index, chunks, step)
        finally:
            image.close()
    xyz = np.empty((sum(map(len, chunks)), 3))
    at = len(xyz)
    while chunks:
        chunk = chunks.pop()
        at -= len(chunk)
        xyz[at : at + len(chunk)] = chunk
    notices = (
        (Notice(code="invalid_dropped", text=f"{n_invalid:,} points flagged as invalid left out"),)
        if n_invalid
        else ()
    )
    return RawCloud(xyz=xyz, step=step, placement=placement, notices=notices)


def _placement(name: str, root: Any) -> Placement:
    """Metres by the standard, and the CRS where the file names one."""
    wkt = root["coordinateMetadata"].value().strip() if root.isDefined("coordinateMetadata") else ""
    if not wkt:
        return Placement(claims=(STANDARD,))
    found = placement_from_wkt(name, wkt, "coordinateMetadata")
    return Placement(crs=found.crs, claims=(STANDARD, *found.claims))


def _read_scan(
    name: str, libe57: Any, image: Any, scan: Any, index: int, chunks: list[Array], step: Array
) -> int:
    """Append the valid points of one scan to `chunks`, raise `step`; returns the number of invalid points."""
    points = scan["points"]
    prototype = libe57.StructureNode(points.prototype())
    fields = next((f for f in (CARTESIAN, SPHERICAL) if all(map(prototype.isDefined, f))), None)
    if fields is None:
        raise InputError(f"{name}: scan {index + 1} has no coordinates, need cartesian or spherical ones")
    state = fields[0][:9] + "InvalidState"
    rotation, translation = _pose(name, scan, index)
    n_points = points.childCount()
    capacity = max(1, min(CHUNK, n_points))
    columns = {f: np.empty(capacity) for f in fields}
    if prototype.isDefined(state):
        columns[state] = np.zeros(capacity)
    buffers = libe57.VectorSourceDestBuffer()
    for f, column in columns.items():
        buffers.append(libe57.SourceDestBuffer(image, f, column, capacity, True, True))
    reader = points.reader(buffers)
    n_read = n_invalid = 0
    try:
        while n_read < n_points:
            n = reader.read()
            if n == 0:
                break
            n_read += n
            block = np.stack([columns[f][:n] for f in fields], axis=1)
            if state in columns:
                valid = columns[state][:n] == 0
                n_invalid += int(np.count_nonzero(~valid))
                block = block[valid]
            if fields is SPHERICAL:
                block = cartesian_from_spherical(block)
            else:
                stored = zip(fields, block.T, strict=True)
                np.maximum(step, [_step(libe57, prototype[f], column) for f, column in stored], out=step)
            chunks.append(block @ rotation.T + translation)
    finally:
        reader.close()
    check_whole(f"{name}: scan {index + 1}", n_points, n_read)
    return n_invalid


def cartesian_from_spherical(rae: Array) -> Array:
    """Range [m], azimuth and elevation [rad] to x, y, z [m] (ASTM E2807: elevation from the xy plane)."""
    distance, azimuth, elevation = rae.T
    level = distance * np.cos(elevation)
    return np.stack([level * np.cos(azimuth), level * np.sin(azimuth), distance * np.sin(elevation)], axis=1)


def _step(libe57: Any, node: Any, values: Array) -> float:
    """Smallest step [m] between stored values of a coordinate."""
    if isinstance(node, libe57.ScaledIntegerNode):
        return float(node.scale())
    if isinstance(node, libe57.FloatNode) and node.precision() == libe57.E57_SINGLE:
        return float(np.spacing(np.float32(np.abs(values).max(initial=0.0))))
    return 0.0


def _pose(name: str, scan: Any, index: int) -> tuple[Array, Array]:
    """Rotation matrix and translation [m] that place a scan; none where the file gives none."""
    rotation, translation = np.eye(3), np.zeros(3)
    if not scan.isDefined("pose"):
        return rotation, translation
    pose = scan["pose"]
    if pose.isDefined("translation"):
        translation = np.array([pose["translation"][axis].value() for axis in AXES])
    if pose.isDefined("rotation"):
        quaternion = np.array([pose["rotation"][part].value() for part in "wxyz"])
        if not abs(np.linalg.norm(quaternion) - 1) < QUATERNION_TOLERANCE:
            raise InputError(f"{name}: scan {index + 1}: pose rotation is no unit quaternion, need one")
        rotation = rotation_from_quaternion(quaternion)
    return rotation, translation


def rotation_from_quaternion(quaternion: Array) -> Array:
    """Rotation matrix of the quaternion (w, x, y, z), which is normalised first."""
    from scipy.spatial.transform import Rotation

    return np.asarray(Rotation.from_quat(quaternion, scalar_first=True).as_matrix())
