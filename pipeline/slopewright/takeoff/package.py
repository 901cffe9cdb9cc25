"""What is bought: packages, stock lengths and the share of waste.  Trade units, named in every field."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

Inches = Annotated[float, Field(gt=0, le=600)]  # 50 ft: nothing that is laid or lapped is wider
InchesOr0 = Annotated[float, Field(ge=0, le=600)]
Feet = Annotated[float, Field(gt=0, le=1000)]  # of a roll or a stock piece; longer is a slip of the unit
SquareFeet = Annotated[float, Field(gt=0, le=10_000)]  # in one package; a truck of shingles is less
Number = Annotated[float, Field(gt=0, le=100_000)]  # in one package, or for one square
Text = Annotated[str, Field(min_length=1)]


class Model(BaseModel):
    """Unknown keys, infinities and text in place of numbers are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


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
    holds: Number | None = None  # in the unit of the line: pieces in a box, pounds in a carton
    holds_ft2: SquareFeet | None = None  # bundle, roll or sheet
    holds_ft: Feet | None = None
    pieces: Annotated[int, Field(gt=0, le=10_000)] | None = None  # caps in a bundle, with piece_exposure_in
    piece_exposure_in: Inches | None = None
    stock_ft: Feet | None = None  # length of a stock piece, with lap_in
    lap_in: InchesOr0 = 0.0
    offcuts: Literal["none", "pooled"] = "none"
    roll_width_in: Inches | None = None  # with roll_exposure_in: material for one unit of surface
    roll_exposure_in: Inches | None = None
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
