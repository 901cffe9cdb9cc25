"""What passes between the stages before there is a roof: points, labels, incidence.

Metres, local coordinates (the cloud's origin is subtracted), right-handed, z up.  Arrays are locked.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Labels = npt.NDArray[np.int32]

DENSE_SPACING_M = 0.12  # between points; below it a cloud counts as dense: matched photos, close scans


def lock(*arrays: npt.NDArray[np.generic] | None) -> None:
    """Make arrays read-only, for frozen dataclasses that hold them."""
    for array in arrays:
        if array is not None:
            array.flags.writeable = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """A warning that goes with the result: a stable code, a sentence, and the ids it is about."""

    code: str
    text: str
    about: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cloud:
    """A point cloud as read: metres, shifted to `origin`; world coordinates are origin + xyz."""

    xyz: Array  # (n, 3) [m], finite
    origin: Array  # (3,) [m]
    crs: str | None = None  # "EPSG:25832" style, or WKT where no code is known, or None
    classes: npt.NDArray[np.uint8] | None = None  # (n,) ASPRS classification codes, where the file has them
    n_returns: npt.NDArray[np.uint8] | None = None  # (n,) returns of the point's pulse; None: a file without
    return_number: npt.NDArray[np.uint8] | None = None  # (n,) from 1, there where n_returns is
    strip: npt.NDArray[np.uint16] | None = None  # (n,) point source id, by custom the flight strip
    name: str = ""  # file name, for messages
    unit: str = "m"  # horizontal unit of the file: "m", "ft" or "us-ft"
    notices: tuple[Notice, ...] = ()

    def __post_init__(self) -> None:
        lock(self.xyz, self.origin, self.classes, self.n_returns, self.return_number, self.strip)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoofPoints:
    """One building's roof cut from the scene, with what lies around it."""

    id: str  # "r1", ...
    xyz: Array  # (n, 3) [m] points that may be roof, or things on it, or a tree over it
    indices: npt.NDArray[np.int64]  # (n,) rows of the cloud
    context: Array  # (m, 3) [m] ground, walls and low things within 3 m of the footprint
    footprint: Array  # (k, 2) [m] outline in plan, open ring, counter-clockwise
    area_m2: float  # plan area of the footprint
    ground_z_m: float | None  # level of the ground around it, None when no ground was seen
    n_returns: npt.NDArray[np.uint8] | None = None  # (n,) as in the cloud, of `xyz`
    return_number: npt.NDArray[np.uint8] | None = None  # (n,)
    strip: npt.NDArray[np.uint16] | None = None  # (n,)

    def __post_init__(self) -> None:
        lock(self.xyz, self.indices, self.context, self.footprint)
        lock(self.n_returns, self.return_number, self.strip)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """All roofs found in a cloud and the one that is to be measured."""

    roofs: tuple[RoofPoints, ...]
    chosen: int  # index into roofs
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaneSegment:
    """A plane as fitted to its own points: the points x with normal . (x - centroid) = 0."""

    centroid: Array  # (3,) [m]
    normal: Array  # (3,) unit, z > 0
    covariance: Array  # (3, 3) of (dz/dx, dz/dy, z at the centroid), as [1, 1, m], correlated noise included
    n_points: int
    rms_m: float  # root mean square orthogonal residual
    area_m2: float  # area of the plane covered by its points

    def __post_init__(self) -> None:
        lock(self.centroid, self.normal, self.covariance)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Segmentation:
    """Planes and which point belongs to which."""

    planes: tuple[PlaneSegment, ...]
    labels: Labels  # (n,) index into planes, -1 for none
    noise_m: float  # standard deviation of the points' noise across a plane
    spacing_m: float  # typical distance between neighbouring points in plan
    correlation_m: float  # length over which the noise is correlated, 0 if independent
    notices: tuple[Notice, ...] = ()

    def __post_init__(self) -> None:
        lock(self.labels)

    @property
    def dense(self) -> bool:
        """Whether the points are as close as matched photos or close scans have them."""
        return self.spacing_m < DENSE_SPACING_M


class EdgeKind(StrEnum):
    """How two planes meet, or how one ends."""

    EAVE = "eave"
    RAKE = "rake"
    RIDGE = "ridge"
    HIP = "hip"
    VALLEY = "valley"
    SIDEWALL = "sidewall"
    HEADWALL = "headwall"
    PITCH_BREAK = "pitch_break"
    PARAPET = "parapet"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Boundary:
    """A vertical plane through an eave, a rake or a wall line: {p : (p - point) . n(angle) = 0}."""

    point: Array  # (2,) [m] middle of the observed part
    angle_rad: float  # of its horizontal normal, pointing out of the plane that ends here
    covariance: Array  # (2, 2) of (offset along the normal [m], turn about `point` [rad])
    observed: float  # 0..1, share of its length that is supported by points
    inferred_from: str = ""  # what it follows from when it was not seen
    end_seen: bool = False  # photos show that the roof ends here, whatever was scanned beyond

    def __post_init__(self) -> None:
        lock(self.point, self.covariance)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A line of the plan: the crease of two planes, or a boundary."""

    planes: tuple[int, int] | None = None
    boundary: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanVertex:
    """A point of the plan, where curves meet."""

    curves: tuple[Curve, ...]  # two or more
    xy: Array  # (2,) [m] where it lay when the incidence was found

    def __post_init__(self) -> None:
        lock(self.xy)


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """A plan vertex at the height of one or several planes that meet there."""

    vertex: int
    planes: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedEdge:
    """A straight piece between two corners."""

    kind: EdgeKind
    start: int  # corner
    end: int  # corner
    planes: tuple[int, ...]  # faces it bounds: two for a crease, one for a free edge or one side of a step
    curve: Curve
    observed: float
    ambiguous_m: float = 0.0  # standard uncertainty of its length from how the plan might be cut otherwise


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedFace:
    """One connected piece of a plane: loops of corners, outer first and counter-clockwise seen from above."""

    plane: int
    loops: tuple[tuple[int, ...], ...]
    observed: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Topology:
    """How the planes meet: everything but the numbers."""

    boundaries: tuple[Boundary, ...]
    vertices: tuple[PlanVertex, ...]
    corners: tuple[Corner, ...]
    edges: tuple[TracedEdge, ...]
    faces: tuple[TracedFace, ...]
    bleed_sd_m: float = 0.0  # standard uncertainty of a shift outward that all free edges share [m]
    notices: tuple[Notice, ...] = field(default=())
