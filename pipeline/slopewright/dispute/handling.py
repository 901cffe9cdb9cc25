"""How well a length is taped: tolerance of the tape, what was written down, the hand at its ends.  Metres.

References
----------
.. [1] NIST Handbook 44, sec. 5.52, tolerances of metal tapes: to 6 ft 1/32 in, to 30 ft 1/16 in, to 55 ft
   1/8 in, to 80 ft 3/16 in, to 100 ft 1/4 in.
.. [2] JCGM 100:2008 (GUM), 4.3.7: a quantity known to lie within +-a has the standard uncertainty a/sqrt(3).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import InputError
from ..units import FOOT_M, INCH_M

TOLERANCES_FT_IN = ((6, 1 / 32), (30, 1 / 16), (55, 1 / 8), (80, 3 / 16), (100, 1 / 4))  # [1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Handling:
    """Standard uncertainties that come on top of the tape's tolerance; all of them common practice."""

    end_m: float  # of each end: where the edge of a rough thing is, and holding on to it
    share: float  # of the length: sag, tension, not quite along the edge
    metal_tape: bool = True  # within [1]; else the share holds it


HANDLING = {
    "steel tape": Handling(end_m=0.006, share=0.0005),
    "tape": Handling(end_m=0.008, share=0.001, metal_tape=False),  # fabric or unknown: stretches by a tenth %
    "laser": Handling(end_m=0.010, share=0.0002, metal_tape=False),  # 2 mm, and a target held at an edge
    "wheel": Handling(end_m=0.020, share=0.005, metal_tape=False),
    "from the ground": Handling(end_m=0.025, share=0.001, metal_tape=False),  # plumbed down from the edge
}
UNSAID = "tape"


def tolerance_m(length_m: float) -> float:
    """Half the width of a metal tape's tolerance at a length [1]; beyond 100 ft in proportion."""
    length_ft = length_m / FOOT_M
    for upto_ft, tolerance_in in TOLERANCES_FT_IN:
        if length_ft <= upto_ft * (1 + 1e-9):
            return tolerance_in * INCH_M
    return TOLERANCES_FT_IN[-1][1] * INCH_M * length_ft / TOLERANCES_FT_IN[-1][0]


def handling_of(how: str, *, where: str) -> str:
    """The name of a way of taping, from the words of a table.

    Raises
    ------
    InputError
        If it is none that we know of.
    """
    name = " ".join(how.casefold().split())
    if not name:
        return UNSAID
    if name not in HANDLING:
        raise InputError(f"{where}: how {how!r}, need one of {', '.join(HANDLING)}, or a number under u")
    return name


def taped_u_m(length_m: float, step_m: float, how: str) -> float:
    """Standard uncertainty of a taped length.

    Parameters
    ----------
    length_m, step_m : float
        The length, and the step that it was written down to [m].
    how : str
        A key of `HANDLING`.

    Notes
    -----
    Root of the sum of squares of the tolerance [1]_ [2]_, of rounding to the step (+-step/2, [2]_), of both
    ends, and of what grows with the length.
    """
    way = HANDLING[how]
    tolerance = tolerance_m(length_m) / math.sqrt(3) if way.metal_tape else 0.0
    return math.hypot(tolerance, step_m / math.sqrt(12), way.end_m * math.sqrt(2), way.share * length_m)
