"""The measured roof and what is taken off it: the types behind roof.json and takeoff.json.

Metres, square metres and radians; local coordinates (world = frame.origin + xyz), z up.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from .measurement import Measurement
from .scene import Array, EdgeKind, Notice, lock
from .state import Frame as Frame
from .state import RoofState as RoofState


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """One face of the roof.  Corners are rows of `Roof.vertices`; creases share them."""

    id: str  # "A", "B", ..., "Z", "AA"
    normal: Array  # (3,) unit, z > 0
    offset: float  # normal . x = offset [m]
    loops: tuple[
        tuple[int, ...], ...
    ]  # rows of Roof.vertices; outer ring first, counter-clockwise from above
    area: Measurement  # [m²]
    plan_area: Measurement  # [m²]
    pitch_deg: Measurement
    rise_in_12: Measurement
    azimuth_deg: Measurement  # downslope direction, clockwise from grid north
    eave_height: Measurement | None  # lowest corner above ground [m]
    n_points: int
    residual_rms_m: float
    observed: float  # 0..1

    def __post_init__(self) -> None:
        lock(self.normal)


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """A straight edge between two corners."""

    id: str  # "e1", ...
    kind: EdgeKind
    start: int  # row of Roof.vertices
    end: int
    length: Measurement  # [m]
    planes: tuple[str, ...]
    observed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RoofObject:
    """Something that stands on or cuts through the roof."""

    id: str
    kind: str  # "chimney", "vent", "pipe", "skylight" or "unknown"
    plane: str
    position: tuple[float, float, float]  # [m]
    size: tuple[float, float]  # [m]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Joint:
    """The joint distribution of all areas and lengths: one covariance for every quantity.

    `names` are "area:A" [m²], "plan_area:A" [m²], "length:e1" [m]; rows of `covariance` follow them.
    """

    names: tuple[str, ...]
    values: Array  # (q,)
    covariance: Array  # (q, q)

    def __post_init__(self) -> None:
        lock(self.values, self.covariance)

    def combine(self, weights: dict[str, float], *, floor: float = 0.0) -> Measurement:
        """The weighted sum of named quantities, with its bound."""
        row = {name: i for i, name in enumerate(self.names)}
        w = np.zeros(len(self.names))
        for name, weight in weights.items():
            w[row[name]] += weight
        u = float(np.sqrt(max(float(w @ self.covariance @ w), 0.0)))
        return Measurement.normal(float(w @ self.values), u, floor=floor)


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetShare:
    """The share of the total area's variance that one source of doubt makes up."""

    source: str
    area_share: float  # 0..1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Roof:
    """The measured roof."""

    frame: Frame
    vertices: Array  # (v, 3) [m] corners; a crease's corners are shared by its faces
    planes: tuple[Plane, ...]
    edges: tuple[Edge, ...]
    objects: tuple[RoofObject, ...] = ()
    joint: Joint
    area: Measurement  # [m²] of all planes
    plan_area: Measurement  # [m²]
    by_pitch: tuple[tuple[int, Measurement], ...]  # (rise in 12 to the nearest inch, area [m²])
    edge_totals: dict[EdgeKind, Measurement]  # [m], kinds that occur
    budget: tuple[BudgetShare, ...] = ()
    notices: tuple[Notice, ...] = ()
    state: RoofState | None = None  # what it follows from; None where it was read from roof.json alone

    def __post_init__(self) -> None:
        lock(self.vertices)

    def ring(self, loop: tuple[int, ...]) -> Array:
        """Corners of a loop, shape (k, 3) [m]."""
        return self.vertices[list(loop)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeshNode:
    """The triangles of one plane."""

    plane: str  # id
    triangles: npt.NDArray[np.int64]  # (t, 3) rows of `RoofMesh.vertices`, counter-clockwise from above

    def __post_init__(self) -> None:
        lock(self.triangles)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoofMesh:
    """The roof as triangles, one node a plane; nodes that meet at a crease share its corners."""

    vertices: Array  # (v, 3) [m], the rows of `Roof.vertices`
    nodes: tuple[MeshNode, ...]
    body: RoofBody

    def __post_init__(self) -> None:
        lock(self.vertices)


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """A flat piece of a building's skin."""

    kind: str  # "roof", "wall" or "ground"
    plane: str | None  # id, of a roof surface
    rings: tuple[tuple[int, ...], ...]  # rows of `RoofBody.vertices`, outer first, as seen from outside


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoofBody:
    """What stands below a roof: upright walls under free edges and steps, down to the ground if seen."""

    vertices: Array  # (v, 3) [m]
    surfaces: tuple[Surface, ...]  # the planes in their order, walls, ground
    wall_triangles: npt.NDArray[np.int64]  # (t, 3) rows of vertices, counter-clockwise from outside
    closed: bool  # every side of every surface is one of exactly one other

    def __post_init__(self) -> None:
        lock(self.vertices, self.wall_triangles)


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """What the person on site knows and a cloud does not show."""

    storeys: int | None = None
    shingle_layers: int = 1  # to tear off
    felt_layers: int = 1
    deck: str = "solid"  # "solid" or "spaced"
    ice_barrier: bool | None = None  # None: not said
    overhang_m: float | None = None
    region: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """What is owed by whom; items are named as in the system's file."""

    planes: tuple[str, ...] | None = None  # None: all
    in_scope: tuple[str, ...] = ()  # over what the system says: unsound flashing, gutters of this job
    retained: tuple[str, ...] = ()
    by_others: tuple[str, ...] = ()
    excluded: tuple[str, ...] = ()
    code_items: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeoffRequest:
    """Everything the takeoff needs besides the roof and the system."""

    site: Site = field(default_factory=Site)
    scope: Scope = field(default_factory=Scope)
    counts: dict[str, int] = field(default_factory=dict)  # pipe boots, vents, ... seen on site
    assurance: float = 0.95  # chance that an order suffices


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """Whole packages to order."""

    quantity: int
    unit: str
    chance_short: float  # 0..1


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeoffLine:
    """One quantity of the scope, with where it came from."""

    item: str
    phase: str  # "tear_off", "repair", "install" or "clean_up"
    unit: str  # "sq", "lf", "ea", "sheet", "roll", "bundle", "piece", "lb" or "yd3"
    net: Measurement  # in `unit`
    waste: Measurement  # in `unit`, on top of net
    order: Order | None
    status: str  # "in_scope", "retained", "by_others", "excluded", "code_item" or "check"
    origin: tuple[str, ...]  # ids of planes, edges and objects, or "job.toml [counts]"
    rule: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaClass:
    """Area within a class of pitch and height."""

    rise_in_12_from: float
    rise_in_12_to: float
    storeys: int | None
    area: Measurement  # [m²]


@dataclass(frozen=True, slots=True, kw_only=True)
class Takeoff:
    """The scope's quantities in the order of the work."""

    system: str
    lines: tuple[TakeoffLine, ...]
    classes: tuple[AreaClass, ...]
    notices: tuple[Notice, ...] = ()
