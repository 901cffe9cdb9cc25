"""A roof system as data: its layers in the order of the work, each with measure, package, rule and source.

Trade units (inches, feet, squares), as the person who edits the file writes them; every field says its unit.
"""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from ..errors import InputError
from ..scene import EdgeKind

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Text = Annotated[str, Field(min_length=1)]
Rise = Annotated[float, Field(ge=0, le=60)]  # inches in 12; 60 in 12 is 78.7 degrees, steeper is a wall
Phase = Literal["tear_off", "repair", "install", "clean_up"]
Unit = Literal["sq", "lf", "ea", "sheet", "roll", "bundle", "piece", "lb", "yd3"]
Status = Literal["in_scope", "retained", "by_others", "excluded", "code_item", "check"]
Times = Literal["once", "shingle_layers", "first_shingle_layer", "further_shingle_layers", "felt_layers"]


class Model(BaseModel):
    """Unknown keys, infinities and text in place of numbers are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


M = TypeVar("M", bound=Model)


class Waste(Model):
    """What is bought beyond the net, as a share of it that lies between two stated ends."""

    low: Annotated[float, Field(ge=0, le=1)]
    high: Annotated[float, Field(ge=0, le=1)]
    source: Text

    @model_validator(mode="after")
    def _ordered(self) -> Waste:
        if self.low > self.high:
            raise ValueError(f"low {self.low:g} is above high {self.high:g}, need low <= high")
        return self


class Package(Model):
    """What is bought: a thing that holds so much, or a stock length that is cut."""

    unit: Text
    holds: Positive | None = None  # in the unit of the line: pieces in a box, pounds in a carton
    holds_ft2: Positive | None = None  # bundle, roll or sheet
    holds_ft: Positive | None = None
    pieces: Annotated[int, Field(gt=0)] | None = None  # caps in a bundle, with piece_exposure_in
    piece_exposure_in: Positive | None = None
    stock_ft: Positive | None = None  # length of a stock piece, with lap_in
    lap_in: NotNegative = 0.0
    offcuts: Literal["none", "pooled"] = "none"
    roll_width_in: Positive | None = None  # with roll_exposure_in: material for one unit of surface
    roll_exposure_in: Positive | None = None
    source: Text

    @model_validator(mode="after")
    def _consistent(self) -> Package:
        sizes = ("holds", "holds_ft2", "holds_ft", "pieces", "stock_ft")
        given = [name for name in sizes if getattr(self, name) is not None]
        if len(given) != 1:
            raise ValueError(f"got {' and '.join(given) or 'none'}, need exactly one of {', '.join(sizes)}")
        if (self.pieces is None) != (self.piece_exposure_in is None):
            raise ValueError("pieces and piece_exposure_in go together, need both or neither")
        if (self.roll_width_in is None) != (self.roll_exposure_in is None):
            raise ValueError("roll_width_in and roll_exposure_in go together, need both or neither")
        if self.roll_width_in is not None and self.roll_width_in < (self.roll_exposure_in or 0):
            raise ValueError("roll_exposure_in is above roll_width_in, need at most the width")
        if self.stock_ft is None and (self.lap_in > 0 or self.offcuts != "none"):
            raise ValueError("lap_in and offcuts are for stock_ft, need stock_ft or neither")
        if self.stock_ft is not None and self.lap_in >= 12 * self.stock_ft:
            raise ValueError(f"lap_in {self.lap_in:g} is not below stock_ft {self.stock_ft:g} ft")
        return self

    @property
    def size(self) -> float:
        """How much it holds, in the unit of the line (squares, feet, or the line's own)."""
        if self.holds_ft2 is not None:
            return self.holds_ft2 / 100
        if self.pieces is not None and self.piece_exposure_in is not None:
            return self.pieces * self.piece_exposure_in / 12
        return self.holds or self.holds_ft or self.stock_ft or 1.0

    @property
    def material_factor(self) -> float:
        """Material for one unit of surface: roll width over exposure, 1 without laps."""
        if self.roll_width_in is None or self.roll_exposure_in is None:
            return 1.0
        return self.roll_width_in / self.roll_exposure_in


class Layer(Model):
    """What all layers have in common."""

    item: Text
    phase: Phase
    unit: Unit
    status: Status = "in_scope"
    deck: Literal["solid", "spaced"] | None = None  # only on such a deck
    rule: Text
    source: Text
    waste: Waste | None = None
    package: Package | None = None

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
    per_square: Positive | None = None  # line's units for one square; sq itself needs none
    per_square_range: tuple[Positive, Positive] | None = None

    @model_validator(mode="after")
    def _units(self) -> AreaLayer:
        if self.rise_from is not None and self.rise_above is not None:
            raise ValueError("rise_from and rise_above exclude each other")
        if self.per_square is not None and self.per_square_range is not None:
            raise ValueError("per_square and per_square_range exclude each other")
        if self.per_square_range is not None and self.per_square_range[0] > self.per_square_range[1]:
            raise ValueError("per_square_range: its first number is above its second")
        if (self.unit == "sq") != (self.per_square is None and self.per_square_range is None):
            raise ValueError("unit 'sq' takes neither per_square nor per_square_range, other units need one")
        return self


class EdgesLayer(Layer):
    """Runs along all edges of some kinds."""

    measure: Literal["edges"]
    unit: Literal["lf"]
    edges: Annotated[tuple[EdgeKind, ...], Field(min_length=1)]


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
    width_in: Positive


class EaveBandLayer(Layer):
    """A band of whole courses along eaves, up to a line inside the wall."""

    measure: Literal["eave_band"]
    unit: Literal["sq"]
    inside_wall_in: Positive
    course_width_in: Positive
    course_lap_in: NotNegative
    overhang_range_in: tuple[NotNegative, NotNegative]  # where job.toml does not give the overhang
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
    wider_than_in: NotNegative = 0.0  # objects only, their longer side
    ask: bool = False  # list a check line of 0 when neither counted nor detected


class NailsLayer(Layer):
    """Nails of the field shingles, by pitch."""

    measure: Literal["nails"]
    unit: Literal["ea", "lb"]
    nails_per_lb: Positive | None = None

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
    net_free_in2: Positive  # of one vent


class PerimeterLayer(Layer):
    """Edges from which a person can fall far enough that the rule binds."""

    measure: Literal["perimeter"]
    unit: Literal["lf"]
    edges: Annotated[tuple[EdgeKind, ...], Field(min_length=1)]
    height_ft: Positive
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


class Shingle(Model):
    """The piece that covers the field."""

    width_in: Positive
    exposure_in: Positive
    lowest_rise: Rise  # below it the shingle is not allowed
    nails: Annotated[int, Field(ge=1, le=20)]
    steep_nails: Annotated[int, Field(ge=1, le=20)]
    steep_above: Rise
    source: Text

    @property
    def pieces_per_square(self) -> float:
        """14,400 square inches in a square over the exposed face of one piece."""
        return 14400 / (self.width_in * self.exposure_in)


class Classes(Model):
    """Limits of the labour classes of pitch and height."""

    rise_from: tuple[Rise, ...]  # each opens a class that includes it
    rise_above: tuple[Rise, ...] = ()  # each opens a class that excludes it
    storey_eaves_ft: tuple[Positive, ...]  # eave heights from which a plane counts one storey more
    source: Text

    @model_validator(mode="after")
    def _ascending(self) -> Classes:
        limits = (*self.rise_from, *self.rise_above)
        if list(limits) != sorted(set(limits)) or not limits or limits[0] != 0:
            raise ValueError(f"limits {list(limits)}, need ascending numbers from 0, rise_above last")
        if list(self.storey_eaves_ft) != sorted(set(self.storey_eaves_ft)):
            raise ValueError("storey_eaves_ft: need ascending numbers")
        return self


class System(Model):
    """One way to roof: what comes off, what goes on, in which packages, by which rule."""

    format: Literal["slopewright-system"]
    version: Literal[1]
    name: Text
    title: Text
    edition: Text  # of the code, as the layers' `steep` tables name it
    recover_refused_from_layers: Annotated[int, Field(ge=1)]
    recover_source: Text
    shingle: Shingle
    classes: Classes
    layer: tuple[Annotated[AnyLayer, Field(discriminator="measure")], ...]

    @model_validator(mode="after")
    def _edition_known(self) -> System:
        for layer in self.layer:
            if isinstance(layer, EaveBandLayer) and self.edition not in layer.steep:
                known = ", ".join(layer.steep)
                raise ValueError(
                    f"edition {self.edition!r} is not in the steep table of {layer.item!r}: {known}"
                )
        return self

    @property
    def items(self) -> tuple[str, ...]:
        """Names that job.toml [scope] may use."""
        return tuple(layer.item for layer in self.layer)

    @property
    def counts(self) -> tuple[str, ...]:
        """Names that job.toml [counts] may use, each once."""
        counted = [layer.count for layer in self.layer if isinstance(layer, CountLayer | VentilationLayer)]
        return tuple(dict.fromkeys(counted))


def system_from_toml(document: dict[str, Any], *, file: str) -> System:
    """Check a system file and make it a `System`.

    Parameters
    ----------
    document : dict
        As `tomllib` reads it.
    file : str
        Its name, for messages.

    Returns
    -------
    System

    Raises
    ------
    InputError
        Naming the file, the field and what is needed: unknown or missing key, wrong type, number out of
        range, contradiction, a package that does not fit the unit, an item named twice.
    """
    layers = document.get("layer")
    if not isinstance(layers, list) or not layers:
        raise InputError(f"{file}: layer: got none, need at least one [[layer]] table")
    for number, layer in enumerate(layers, start=1):
        where = f"layer {number}"
        if not isinstance(layer, dict):
            raise InputError(f"{file}: {where}: got {layer!r}, need a table")
        if isinstance(layer.get("item"), str):
            where += f" ({layer['item']})"
        measure = layer.get("measure")
        if not isinstance(measure, str) or measure not in LAYERS:
            raise InputError(f"{file}: {where}: measure: got {measure!r}, need one of {', '.join(LAYERS)}")
        _checked(LAYERS[measure], layer, file=file, where=where)
    system = _checked(System, document, file=file, where="")
    lower = [item.casefold() for item in system.items]
    twice = next((item for item in system.items if lower.count(item.casefold()) > 1), None)
    if twice is not None:
        raise InputError(f"{file}: layer: item {twice!r} is named twice, need one name a layer")
    return system


def _checked(model: type[M], document: dict[str, Any], *, file: str, where: str) -> M:
    """Validate in JSON mode, which is strict about numbers and lets lists be tuples."""
    try:
        return model.model_validate_json(json.dumps(document, default=str))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        keys = [str(key) for key in first["loc"]]
        field = ": ".join(part for part in (file, where, ".".join(keys)) if part)
        text = first["msg"].removeprefix("Value error, ")
        if first["type"] == "extra_forbidden":
            text = f"unknown key, need one of {', '.join(_fields(model, first['loc'][:-1]))}"
        elif first["type"] == "missing":
            text = "missing, need a value"
        elif first["type"] != "value_error":
            text = f"got {first['input']!r}; {text[0].lower()}{text[1:]}"
        raise InputError(f"{field}: {text}") from error


def _fields(model: type[Model], path: tuple[int | str, ...]) -> list[str]:
    """Names of the fields of the table at `path`."""
    for key in path:
        annotation = model.model_fields[str(key)].annotation if str(key) in model.model_fields else None
        for candidate in (annotation, *getattr(annotation, "__args__", ())):
            if isinstance(candidate, type) and issubclass(candidate, Model):
                model = candidate
    return list(model.model_fields)
