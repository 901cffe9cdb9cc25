"""All questions that are put to a measured roof."""

from __future__ import annotations

from ..errors import NotCertifiedError
from ..roof import Roof
from ..scene import Notice, RoofPoints, Segmentation
from .face import is_crossed, plans_of
from .inside import not_seen
from .sides import beyond
from .surface import unevenness

MOST_SPACING_M = 0.8  # some two points a square metre; at one, bounds of the area hold two roofs in three


def run(points: RoofPoints, segmentation: Segmentation, roof: Roof) -> tuple[Notice, ...]:
    """Hold a measured roof against the whole cloud that it came from.

    Parameters
    ----------
    points : RoofPoints
    segmentation : Segmentation
    roof : Roof

    Returns
    -------
    tuple of Notice
        `certify` knows which of their codes speak against certifying.

    Raises
    ------
    NotCertifiedError
        If the outline of a face crosses itself: nothing can be drawn or taken off then.
    """
    plans = plans_of(roof)
    pairs = zip(roof.planes, plans, strict=True)
    crossed = [plane.id for plane, plan in pairs if is_crossed(roof, plane, plan)]
    if crossed:
        raise NotCertifiedError(
            f"roof {points.id}: the outline of plane {', '.join(crossed)} crosses itself: the cloud does not"
            " show where it ends, need a denser cloud or one with fewer gaps"
        )
    return (
        *sparsity(segmentation),
        *beyond(points, segmentation, roof),
        *not_seen(points, segmentation, roof, plans),
        *unevenness(points, segmentation, roof, plans),
    )


def sparsity(segmentation: Segmentation) -> tuple[Notice, ...]:
    """Tell a cloud in which faces and edges may be missing that a person would count."""
    if segmentation.spacing_m <= MOST_SPACING_M:
        return ()
    text = (
        f"points lie {segmentation.spacing_m:.1f} m apart, need {MOST_SPACING_M} m or less: small faces and"
        " notches are not seen, and edges lie where few points say"
    )
    return (Notice(code="too_sparse", text=text),)
