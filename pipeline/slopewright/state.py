"""What a measured roof follows from, and the edits that a person makes to it.

A roof is a function of its state; an edit makes the next state; a journal of edits, replayed on the state
that was measured, makes the same roof again.  Metres and radians; local coordinates, z up.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from .scene import Array, EdgeKind, Notice, PlaneSegment, Topology, lock


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """Where the local coordinates stand in the world."""

    origin: Array  # (3,) [m]
    crs: str | None = None
    ground_z_m: float | None = None  # level of the ground, local z, None when it was not seen

    def __post_init__(self) -> None:
        lock(self.origin)


@dataclass(frozen=True, slots=True, kw_only=True)
class FixPitch:
    """A pitch that somebody measured."""

    plane: str
    pitch_rad: float
    u_rad: float  # standard uncertainty
    forced: bool = False  # used though it is in conflict with the roof


@dataclass(frozen=True, slots=True, kw_only=True)
class FixLength:
    """A length of an edge that somebody measured."""

    edge: str
    length_m: float
    u_m: float
    forced: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceBoundary:
    """A spot that the free edge was seen to pass, with everything else on its boundary."""

    edge: str
    xy: tuple[float, float]  # [m]
    u_m: float  # across the edge
    forced: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveBoundary:
    """A free edge, with everything else on its boundary, moved outward."""

    edge: str
    by_m: float  # negative: inward


@dataclass(frozen=True, slots=True, kw_only=True)
class MergePlanes:
    """Two planes that meet are one; the first keeps its id."""

    first: str
    second: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitPlane:
    """A plane divided along the line through two spots; the larger part keeps its id."""

    plane: str
    start: tuple[float, float]  # [m]
    end: tuple[float, float]
    kind: EdgeKind = EdgeKind.UNKNOWN  # of the edge between the parts
    u_m: float = 0.05  # of the line, where the parts are one plane and no crease shows it


@dataclass(frozen=True, slots=True, kw_only=True)
class SetKind:
    """An edge called by another kind."""

    edge: str
    kind: EdgeKind


@dataclass(frozen=True, slots=True, kw_only=True)
class ExcludePlane:
    """A plane that is not counted."""

    plane: str


@dataclass(frozen=True, slots=True, kw_only=True)
class IncludePlane:
    """A plane that is counted again."""

    plane: str


Observed = FixPitch | FixLength | PlaceBoundary
Edit = (
    FixPitch
    | FixLength
    | PlaceBoundary
    | MoveBoundary
    | MergePlanes
    | SplitPlane
    | SetKind
    | ExcludePlane
    | IncludePlane
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """How an observation stands to the roof as it was before: E_n of at most 1 is agreement.

    References
    ----------
    .. [1] ISO 13528:2015, 9.7 (E_n); JCGM 100:2008, 6.2 (expanded uncertainties, here of 95 %).
    """

    expected: float  # by the roof [rad, m]
    u: float  # standard uncertainty of that
    e_n: float  # observed less expected over the root of the summed squares of expanded uncertainties
    used: bool

    @property
    def agrees(self) -> bool:
        """Whether the difference is within what both say of themselves."""
        return abs(self.e_n) <= 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """An observation in force."""

    of: tuple[str, ...]  # the plane, the edge, or the pieces of what was one edge
    made: Observed


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Standard uncertainties of what points do not show, as the adjustment was told."""

    bleed_m: float  # of all free edges together
    edge_m: float  # of each free edge
    scale: float  # relative
    tilt_rad: float
    ground_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoofState:
    """Everything that a roof's numbers follow from."""

    planes: tuple[PlaneSegment, ...]
    cells: tuple[Array, ...]  # of each plane, (m, 4): points and their mean x, y, z in cells of the plan
    topology: Topology
    plane_ids: tuple[str, ...]  # of topology.faces
    edge_ids: tuple[str, ...]  # of topology.edges
    n_points: tuple[int, ...]  # of topology.faces
    doubt: Doubt
    told: tuple[Notice, ...] = ()  # by the stages before
    next_plane: int  # numbers of the next new ids: none is ever used twice
    next_edge: int
    excluded: frozenset[str] = frozenset()
    observations: tuple[Observation, ...] = ()
    remarks: tuple[Notice, ...] = ()  # what edits brought up
    agreements: tuple[Agreement, ...] = ()  # of the observations in the journal, in their order
    journal: tuple[Edit, ...] = ()
    measured: RoofState | None = field(default=None, repr=False)  # before the first edit; None: this is it

    def __post_init__(self) -> None:
        lock(*self.cells)
