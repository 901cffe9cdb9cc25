"""A roof system as data: its layers in the order of the work, each with measure, package, rule and source.

Trade units (inches, feet, squares), as the person who edits the file writes them; every field says its unit.
"""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal, TypeVar

from pydantic import Field, ValidationError, model_validator

from ..errors import InputError
from .layers import LAYERS, AnyLayer, AreaLayer, CountLayer, EaveBandLayer, Rise, VentilationLayer
from .laying import Laying, Pattern, make_pattern
from .package import Feet, Inches, Model, Text

M = TypeVar("M", bound=Model)


class Shingle(Model):
    """The piece that covers the field."""

    width_in: Inches
    exposure_in: Inches
    lowest_rise: Rise  # below it the shingle is not allowed
    nails: Annotated[int, Field(ge=1, le=20)]
    steep_nails: Annotated[int, Field(ge=1, le=20)]
    steep_above: Rise
    source: Text

    @model_validator(mode="after")
    def _consistent(self) -> Shingle:
        if self.steep_above <= self.lowest_rise:
            raise ValueError(
                f"steep_above {self.steep_above:g} is not above lowest_rise {self.lowest_rise:g}"
            )
        if self.steep_nails < self.nails:
            raise ValueError(f"steep_nails {self.steep_nails} is below nails {self.nails}")
        return self

    @property
    def pieces_per_square(self) -> float:
        """14,400 square inches in a square over the exposed face of one piece."""
        return 14400 / (self.width_in * self.exposure_in)


class Classes(Model):
    """Limits of the labour classes of pitch and height."""

    rise_from: tuple[Rise, ...]  # each opens a class that includes it
    rise_above: tuple[Rise, ...] = ()  # each opens a class that excludes it
    storey_eaves_ft: tuple[Feet, ...]  # eave heights from which a plane counts one storey more
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
    recover: bool = False  # laid over the shingles that are there
    for_deck: Literal["solid", "spaced"] | None = None  # the deck that it is made for, if only one
    shingle: Shingle
    laying: Laying | None = None  # for a layer that is laid in courses
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

    @model_validator(mode="after")
    def _can_be_laid(self) -> System:
        laid = next((layer.item for layer in self.layer if isinstance(layer, AreaLayer) and layer.laid), None)
        if laid is not None and self.laying is None:
            raise ValueError(f"{laid!r} is laid, need a [laying] table")
        if self.laying is not None:
            self.pattern(self.laying)
        return self

    def pattern(self, laying: Laying) -> Pattern:
        """How the shingles are laid, in metres."""
        return make_pattern(laying, width_in=self.shingle.width_in, exposure_in=self.shingle.exposure_in)

    @model_validator(mode="after")
    def _gives_way(self) -> System:
        bands = [layer.item for layer in self.layer if isinstance(layer, EaveBandLayer)]
        for layer in self.layer:
            if isinstance(layer, AreaLayer) and layer.gives_way_to not in (None, *bands):
                known = ", ".join(bands) or "there is none"
                raise ValueError(
                    f"{layer.item!r} gives way to {layer.gives_way_to!r}, need a layer of measure"
                    f" eave_band: {known}"
                )
        return self

    def band(self, item: str) -> EaveBandLayer:
        """The layer along eaves that is named so."""
        return next(x for x in self.layer if isinstance(x, EaveBandLayer) and x.item == item)

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
