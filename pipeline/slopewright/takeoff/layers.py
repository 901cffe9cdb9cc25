"""Layers of a roof system: one class a measure, checked as it is read.  Trade units, named in every field."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from ..scene import EdgeKind
from .package import Feet, Inches, InchesOr0, Model, Number, Package, SquareFeet, Text, Waste

Rise = Annotated[float, Field(ge=0, le=60)]  # inches in 12; 60 in 12 is 78.7 degrees, steeper is a wall
Phase = Literal["tear_off", "repair", "install", "clean_up"]
Unit = Literal["sq", "lf", "ea", "sheet", "roll", "bundle", "piece", "lb", "yd3"]
Status = Literal["in_scope", "retained", "by_others", "excluded", "code_item", "check"]
Times = Literal["once", "shingle_layers", "first_shingle_layer", "further_shingle_layers", "felt_layers"]


class Layer(Model):
    """What all layers have in common."""

    item: Text
    phase: Phase
    unit: Unit
    status: Status = "in_scope"
    code: Text | None = None  # the section that asks for it, for what a code alone may demand
    deck: Literal["solid", "spaced"] | None = None  # only on such a deck
    rule: Text
    source: Text
    waste: Waste | None = None
    package: Package | None = None

    @model_validator(mode="after")
    def _code_named(self) -> Layer:
        if self.status == "code_item" and self.code is None:
            raise ValueError("status 'code_item' without code, need the section that asks for it")
        return self

    @model_validator(mode="after")
    def _package_fits(self) -> Layer:
        if self.package is None:
            return self
        fitting = {"sq": ("holds_ft2",), "lf": ("holds_ft", "pieces", "stock_ft")}.get(self.unit, ("holds",))
        if all(getattr(self.package, name) is None for name in fitting):
            raise ValueError(f"package does not fit unit {self.unit!r}, need {' or '.join(fitting)}")
        if self.package.stock_ft is not None and self.waste is not None:
            raise ValueError(
                "waste and stock_ft exclude each other: the cutting of stock gives its own waste"
            )
        return self


class AreaLayer(Layer):
    """Covers the planes of a range of pitch: rise_from <= rise < rise_below, or rise > rise_above."""

    measure: Literal["area"]
    rise_from: Rise | None = None
    rise_above: Rise | None = None
    rise_below: Rise | None = None
    times: Times = "once"
    laid: bool = False  # in courses, as the system's [laying] says: what they waste is computed
    per_square: Number | None = None  # line's units for one square; sq itself needs none
    per_square_range: tuple[Number, Number] | None = None
    beyond_in: dict[EdgeKind, Annotated[float, Field(ge=0, le=48)]] = Field(default_factory=dict)
    gives_way_to: Text | None = None  # the layer along eaves that lies in its place, where that is laid
    openings_off_from_ft2: SquareFeet | None = None  # openings as large are taken off the net; None: none is

    @model_validator(mode="after")
    def _units(self) -> AreaLayer:
        if self.rise_from is not None and self.rise_above is not None:
            raise ValueError("rise_from and rise_above exclude each other")
        lowest = self.rise_from if self.rise_from is not None else self.rise_above
        if lowest is not None and self.rise_below is not None and self.rise_below <= lowest:
            raise ValueError(f"rise_below {self.rise_below:g} is not above {lowest:g}: no plane fits")
        if self.per_square is not None and self.per_square_range is not None:
            raise ValueError("per_square and per_square_range exclude each other")
        if self.per_square_range is not None and self.per_square_range[0] > self.per_square_range[1]:
            raise ValueError("per_square_range: its first number is above its second")
        if self.laid and (self.unit, self.times, self.waste) != ("sq", "once", None):
            raise ValueError("laid goes with unit 'sq', times 'once' and no waste, which the courses give")
        if (self.beyond_in or self.gives_way_to) and (self.unit, self.times, self.laid) != (
            "sq",
            "once",
            False,
        ):
            raise ValueError(
                "beyond_in and gives_way_to go with unit 'sq' and times 'once', and not with laid"
            )
        if (self.unit == "sq") != (self.per_square is None and self.per_square_range is None):
            raise ValueError("unit 'sq' takes neither per_square nor per_square_range, other units need one")
        return self

    def covers(self, rise: float) -> bool:
        """Is a pitch [inches in 12] within the layer's range?"""
        return (
            (self.rise_from is None or rise >= self.rise_from)
            and (self.rise_above is None or rise > self.rise_above)
            and (self.rise_below is None or rise < self.rise_below)
        )


class EdgesLayer(Layer):
    """Runs along all edges of some kinds, or along those where the work ends at an untouched plane."""

    measure: Literal["edges"]
    unit: Literal["lf"]
    edges: Annotated[tuple[EdgeKind, ...], Field(min_length=1)]
    tie_in: bool = False


class CoursesLayer(Layer):
    """One piece a course along edges that run up the slope."""

    measure: Literal["courses"]
    unit: Literal["piece"]
    edges: Annotated[tuple[EdgeKind, ...], Field(min_length=1)]


class FeetLayer(Layer):
    """One piece at the foot of each run of the edges."""

    measure: Literal["feet"]
    unit: Literal["ea", "piece"]
    edges: Annotated[tuple[EdgeKind, ...], Field(min_length=1)]


class SteepRule(Model):
    """From this rise on, the band is also at least this wide along the slope."""

    rise_from: Rise
    width_in: Inches


class EaveBandLayer(Layer):
    """A band of whole courses along eaves, up to a line inside the wall."""

    measure: Literal["eave_band"]
    unit: Literal["sq"]
    inside_wall_in: Inches
    course_width_in: Inches
    course_lap_in: InchesOr0
    overhang_range_in: tuple[InchesOr0, InchesOr0]  # where job.toml does not give the overhang
    steep: Annotated[dict[str, SteepRule | Literal["none"]], Field(min_length=1)]  # by edition of the code

    @model_validator(mode="after")
    def _widths(self) -> EaveBandLayer:
        if self.course_lap_in >= self.course_width_in:
            raise ValueError("course_lap_in is not below course_width_in")
        if self.overhang_range_in[0] > self.overhang_range_in[1]:
            raise ValueError("overhang_range_in: its first number is above its second")
        return self


class CountLayer(Layer):
    """Things counted on site, or else the objects detected on the roof."""

    measure: Literal["count"]
    count: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]  # key of job.toml [counts]
    objects: tuple[Literal["chimney", "vent", "pipe", "skylight", "unknown"], ...] = ()
    wider_than_in: InchesOr0 = 0.0  # objects only, their longer side
    ask: bool = False  # list a check line of 0 when neither counted nor detected


class NailsLayer(Layer):
    """Nails of the field shingles, by pitch."""

    measure: Literal["nails"]
    unit: Literal["ea", "lb"]
    nails_per_lb: Number | None = None

    @model_validator(mode="after")
    def _weight(self) -> NailsLayer:
        if (self.unit == "lb") != (self.nails_per_lb is not None):
            raise ValueError("nails_per_lb goes with unit 'lb', need both or neither")
        return self


class VentilationLayer(Layer):
    """Vents that the attic's plan area asks for."""

    measure: Literal["ventilation"]
    unit: Literal["ea"]
    count: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
    share: Annotated[float, Field(gt=0, lt=1)]
    balanced_share: Annotated[float, Field(gt=0, lt=1)]
    net_free_in2: Number  # of one vent


class PerimeterLayer(Layer):
    """Edges from which a person can fall far enough that the rule binds."""

    measure: Literal["perimeter"]
    unit: Literal["lf"]
    edges: Annotated[tuple[EdgeKind, ...], Field(min_length=1)]
    height_ft: Feet
    steep_above: Rise


AnyLayer = (
    AreaLayer
    | EdgesLayer
    | CoursesLayer
    | FeetLayer
    | EaveBandLayer
    | CountLayer
    | NailsLayer
    | VentilationLayer
    | PerimeterLayer
)
LAYERS: dict[str, type[AnyLayer]] = {
    "area": AreaLayer,
    "edges": EdgesLayer,
    "courses": CoursesLayer,
    "feet": FeetLayer,
    "eave_band": EaveBandLayer,
    "count": CountLayer,
    "nails": NailsLayer,
    "ventilation": VentilationLayer,
    "perimeter": PerimeterLayer,
}
