"""Whether a measured roof is certain enough to be certified.  The limits are choices of ours, stated here."""

from __future__ import annotations

from .roof import Roof

MAX_AREA_HALF_WIDTH = 0.10  # of the total area, 95 %; wider, and an order of material cannot rest on it
MIN_OBSERVED = 0.5  # area-weighted share of the planes seen; below it most of the roof is inferred
# notices after which the area rests on guesses
AGAINST = frozenset({"cloud_ends", "under_cover", "left_out", "may_be_ground", "too_sparse"})


def reasons_against(roof: Roof) -> list[str]:
    """Why the roof is not certified, one sentence each; empty when it is."""
    reasons = []
    share = roof.area.half_width / roof.area.value
    if not share <= MAX_AREA_HALF_WIDTH:
        reasons.append(f"total area is known to ± {share:.0%}, need ± {MAX_AREA_HALF_WIDTH:.0%} or better")
    observed = sum(plane.observed * plane.area.value for plane in roof.planes) / roof.area.value
    if not observed >= MIN_OBSERVED:
        reasons.append(f"{observed:.0%} of the roof was seen, need {MIN_OBSERVED:.0%} or more")
    reasons += [notice.text for notice in roof.notices if notice.code in AGAINST]
    return reasons
