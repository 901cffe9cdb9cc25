"""The tables and keys that a job.toml may hold.  A field's description is what an error says is needed."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

MAX_STOREYS = 10
MAX_LAYERS = 5  # of shingles or of felt; a typing slip beyond it
MAX_OVERHANG_M = 3.0

Unit = Annotated[Literal["m", "ft", "us-ft"], Field(description='"m", "ft" or "us-ft"')]
Names = Annotated[list[str], Field(description="a list of names in quotes")]
Ends = Annotated[
    list[str] | list[Annotated[list[float], Field(min_length=3, max_length=3)]],
    Field(
        min_length=2, max_length=2, description='two points [x, y, z] of the cloud, or two marks ["a", "b"]'
    ),
]
Length = Annotated[float, Field(gt=0, allow_inf_nan=False, description="a number above 0")]
Layers = Annotated[int, Field(ge=0, le=MAX_LAYERS, description=f"a whole number from 0 to {MAX_LAYERS}")]
Text = Annotated[str, Field(min_length=1, description="a text in quotes")]


class Table(BaseModel):
    """A table of the file: unknown keys are refused, and "2" is not taken for 2."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class JobTable(Table):
    """[job]"""

    name: Text | None = Field(default=None, description="a text in quotes")
    unit: Unit | None = Field(default=None, description='"m", "ft" or "us-ft"')


class BoardTable(Table):
    """board = {...} of a [[reference]]: one printed target and its side, or two and their distance."""

    dictionary: Text
    ids: list[int] = Field(min_length=1, max_length=2, description="one or two whole numbers, like [7]")
    side: Length | None = Field(default=None, description="a number above 0")
    distance: Length | None = Field(default=None, description="a number above 0")

    @model_validator(mode="after")
    def _one_length(self) -> Self:
        if (self.side is None) == (self.distance is None):
            raise ValueError("need either side (of one target) or distance (of two)")
        if (self.distance is not None) != (len(self.ids) == 2):
            raise ValueError("need one id with side, or two ids with distance")
        return self


class ReferenceTable(Table):
    """[[reference]]"""

    name: Text | None = Field(default=None, description="a text in quotes")
    between: Ends | None = Field(default=None, description="two points [x, y, z] of the cloud, or two marks")
    board: BoardTable | None = Field(default=None, description="{dictionary = ..., ids = [...], side = ...}")
    length: Length | None = Field(default=None, description="a number above 0")
    unit: Unit
    u: Length

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if (self.between is None) == (self.board is None):
            raise ValueError("need either between or board")
        if (self.between is None) != (self.length is None):
            raise ValueError("need length with between, and none with board (there it is side or distance)")
        return self


class TapeTable(Table):
    """[[tape]]"""

    between: Ends | None = Field(default=None, description="two points [x, y, z] of the cloud, or two marks")
    edge: Text | None = Field(default=None, description='an edge of roof.json, like "e3"')
    length: Length
    unit: Unit
    u: Length
    how: Text | None = Field(default=None, description="a text in quotes")

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if (self.between is None) == (self.edge is None):
            raise ValueError("need either between or edge")
        return self


class SiteTable(Table):
    """[site]"""

    storeys: int | None = Field(
        default=None, ge=1, le=MAX_STOREYS, description=f"a whole number from 1 to {MAX_STOREYS}"
    )
    shingle_layers: Layers = 1
    felt_layers: Layers = 1
    deck: Literal["solid", "spaced"] = Field(default="solid", description='"solid" or "spaced"')
    ice_barrier: bool | None = Field(default=None, description="true or false")
    overhang_m: float | None = Field(
        default=None, ge=0, le=MAX_OVERHANG_M, description=f"metres from 0 to {MAX_OVERHANG_M:g}"
    )
    region: str = Field(default="", description="a text in quotes")


class ScopeTable(Table):
    """[scope]"""

    planes: Names | None = Field(default=None, description='a list of planes, like ["A", "B"]')
    in_scope: Names = []
    retained: Names = []
    by_others: Names = []
    excluded: Names = []
    code_items: Names = []


class SystemTable(Table):
    """[system]"""

    name: Text


class JobContract(Table):
    """The whole of a job.toml."""

    job: JobTable = JobTable()
    reference: list[ReferenceTable] = Field(default=[], description="tables [[reference]]")
    tape: list[TapeTable] = Field(default=[], description="tables [[tape]]")
    site: SiteTable = SiteTable()
    scope: ScopeTable = ScopeTable()
    counts: dict[str, Annotated[int, Field(ge=0, description="a whole number, 0 or more")]] = Field(
        default={}, description="a table of whole numbers, like pipe_boots = 3"
    )
    system: SystemTable | None = None
