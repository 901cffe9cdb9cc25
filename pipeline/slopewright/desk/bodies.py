"""What the page sends, checked on arrival."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Number = Annotated[float, Field(allow_inf_nan=False)]
Status = Literal["in_scope", "retained", "by_others", "excluded", "code_item"]


class Body(BaseModel):
    """A JSON object without unknown members."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class NewJob(Body):
    """A job to make."""

    name: Annotated[str, Field(max_length=200)]


class NewRun(Body):
    """A measuring to queue."""

    at: tuple[Number, Number] | None = None  # a point of the roof, in the cloud's own coordinates and unit
    metric: bool = False
    force: bool = False


class Form(Body):
    """A job's form, as the contract of job.toml has it."""

    content: dict[str, Any]


class NewEdit(Body):
    """A correction, as a journal of state.json has it."""

    edit: dict[str, Any]


class Statuses(Body):
    """Who owes a line of the takeoff; None: as the roof system says."""

    item: Annotated[str, Field(max_length=200)]
    status: Status | None


class Table(Body):
    """A table that was entered or pasted, as CSV, to hold against the roof."""

    content: Annotated[str, Field(max_length=1_000_000)]
    adjust: bool = False  # the roof to what agrees, of tape measurements
    names: Annotated[str, Field(max_length=1_000_000)] = ""  # TOML, of the other party's wording


class Presentation(Body):
    """The roof system and the units of drawings."""

    system: Annotated[str, Field(max_length=200)] | None = None
    metric: bool


class Marks(Body):
    """All marks of a job, as marks.json has them."""

    marks: Annotated[list[dict[str, Any]], Field(max_length=2000)]
