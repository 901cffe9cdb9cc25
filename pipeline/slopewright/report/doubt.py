"""Which doubt is the largest, and the one action that would shrink it most."""

from __future__ import annotations

from ..roof import BudgetShare, Roof

# What shrinks a source of doubt; the first whose word stands in the source's name.
ACTIONS = (
    ("not seen", "look at the edges named below from another side, or tape them on site."),
    ("scale", "take a second known length across the roof, as long as there is."),
    ("level", "check the level of the scan against a water level or a plumb wall."),
    ("pitch", "put a level and a rule on the largest plane, or scan it again more densely."),
    ("plane", "put a level and a rule on the largest plane, or scan it again more densely."),
    ("eave", "tape the longest eave and the longest rake, or scan again more densely."),
    ("edge", "tape the longest eave and the longest rake: what they differ by applies to all."),
    ("boundar", "tape the longest eave and the longest rake, or scan again more densely."),
)


def largest_doubt(roof: Roof) -> tuple[BudgetShare, str] | None:
    """The source of most of the area's variance, and what to do about it, "" if nothing is known."""
    if not roof.budget:
        return None
    largest = max(roof.budget, key=lambda b: b.area_share)
    return largest, next((todo for word, todo in ACTIONS if word in largest.source.lower()), "")
