"""The one type for a number that reaches a person: a value with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

COVERAGE_95 = 1.959963984540054  # two-sided 95 % point of the normal distribution


@dataclass(frozen=True, slots=True)
class Measurement:
    """A value, its standard uncertainty and its 95 % bounds, all in one unit (metres, m², degrees, ...).

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 6.2 and G.3.
    """

    value: float
    u: float
    low: float
    high: float

    @staticmethod
    def normal(value: float, u: float, *, floor: float = float("-inf")) -> Measurement:
        """A measurement with normal bounds, cut at a physical `floor` (an area is not negative)."""
        half = COVERAGE_95 * u
        return Measurement(float(value), float(u), float(max(value - half, floor)), float(value + half))

    @property
    def half_width(self) -> float:
        """Half the width of the 95 % bounds."""
        return (self.high - self.low) / 2

    def as_json(self) -> dict[str, float]:
        """The object that files carry."""
        return {"value": self.value, "u": self.u, "low": self.low, "high": self.high}
