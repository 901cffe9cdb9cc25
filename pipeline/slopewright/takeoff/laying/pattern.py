"""How a system's shingles are laid: module, exposure, stagger, the rules that bind.  Inches in the file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, model_validator

from ...scene import EdgeKind
from ...units import INCH_M
from ..package import Inches, InchesOr0, Model, Text

SMALL_IN = 1e-6  # differences below it are rounding of the file's numbers


class Laying(Model):
    """The [laying] table of a system; width and exposure stand in its [shingle]."""

    height_in: Inches  # of the module, butt to head
    stagger_in: Inches  # each course starts this much further on
    stagger_repeat: Annotated[int, Field(ge=2, le=24)]  # courses until the first start comes back
    least_stagger_in: InchesOr0  # between joints of courses that lie on one another
    least_piece_in: InchesOr0  # no narrower piece at the end of a course, nor kept as an offcut
    direction: Literal["left_to_right", "right_to_left"] = "left_to_right"  # as seen from the eave
    beyond_in: dict[EdgeKind, Annotated[float, Field(ge=-24, le=24)]] = Field(default_factory=dict)
    rule_of_thumb: tuple[Annotated[float, Field(ge=0, le=1)], Annotated[float, Field(ge=0, le=1)]]
    source: Text

    @model_validator(mode="after")
    def _consistent(self) -> Laying:
        if self.rule_of_thumb[0] > self.rule_of_thumb[1]:
            raise ValueError("rule_of_thumb: its first number is above its second")
        return self


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """The same in metres, with the module's face.  The joints of course k lie at multiples of the width less
    `(k mod repeat) * stagger`.
    """

    width_m: float
    height_m: float
    exposure_m: float
    stagger_m: float
    repeat: int
    least_stagger_m: float
    least_piece_m: float
    mirrored: bool
    beyond_m: tuple[
        tuple[EdgeKind, float], ...
    ]  # how far courses go past edges of a kind; short of them below 0

    @property
    def face_m2(self) -> float:
        """What one module covers."""
        return self.width_m * self.exposure_m

    @property
    def module_m2(self) -> float:
        """One module with its head."""
        return self.width_m * self.height_m


def make_pattern(laying: Laying, *, width_in: float, exposure_in: float) -> Pattern:
    """Check laying against the shingle's size and turn it to metres.

    Raises
    ------
    ValueError
        Naming the field that contradicts the shingle's size; the reader of the file names the file.
    """
    if laying.height_in < exposure_in:
        raise ValueError(f"height_in {laying.height_in:g} is below exposure_in {exposure_in:g}")
    if 2 * laying.least_piece_in > width_in:
        raise ValueError(f"least_piece_in {laying.least_piece_in:g} is above half of width_in {width_in:g}")
    steps = [laying.stagger_in, (laying.stagger_repeat - 1) * laying.stagger_in]
    apart_in = min(min(step % width_in, -step % width_in) for step in steps)
    if apart_in < laying.least_stagger_in - SMALL_IN:
        raise ValueError(
            f"stagger_in {laying.stagger_in:g} over {laying.stagger_repeat} courses brings joints within"
            f" {apart_in:g} in of one another, need least_stagger_in {laying.least_stagger_in:g}"
        )
    return Pattern(
        width_m=width_in * INCH_M,
        height_m=laying.height_in * INCH_M,
        exposure_m=exposure_in * INCH_M,
        stagger_m=laying.stagger_in * INCH_M,
        repeat=laying.stagger_repeat,
        least_stagger_m=laying.least_stagger_in * INCH_M,
        least_piece_m=laying.least_piece_in * INCH_M,
        mirrored=laying.direction == "right_to_left",
        beyond_m=tuple((kind, inches * INCH_M) for kind, inches in laying.beyond_in.items()),
    )
