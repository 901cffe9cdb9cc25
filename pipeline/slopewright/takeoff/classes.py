"""Area by class of pitch and height, and planes that straddle a limit."""

from __future__ import annotations

import math
from collections.abc import Iterable

from ..roof import AreaClass, Plane
from ..scene import Notice
from ..units import FOOT_M
from .layers import AreaLayer, EaveBandLayer, PerimeterLayer
from .survey import Survey, rise, straddlers
from .system import System


def area_classes(survey: Survey) -> tuple[AreaClass, ...]:
    """Area [m²] of the planes in scope by pitch class, then storeys (None: unknown), without empty ones."""
    classes = survey.system.classes
    limits = [*classes.rise_from, *classes.rise_above, math.inf]
    found: dict[tuple[int, int | None], list[str]] = {}
    for plane in survey.planes:
        value = rise(plane)
        steps = sum(value >= limit for limit in classes.rise_from)
        steps += sum(value > limit for limit in classes.rise_above)
        found.setdefault((steps - 1, storeys(plane, survey)), []).append(plane.id)
    return tuple(
        AreaClass(
            rise_in_12_from=limits[step],
            rise_in_12_to=limits[step + 1],
            storeys=level,
            area=survey.roof.joint.combine({f"area:{name}": 1.0 for name in ids}, floor=0.0),
        )
        for (step, level), ids in sorted(found.items(), key=lambda item: (item[0][0], item[0][1] or 0))
    )


def storeys(plane: Plane, survey: Survey) -> int | None:
    """Storeys below the plane's eave: from its height where that was seen, else as the job says."""
    if plane.eave_height is None:
        return survey.request.site.storeys
    return 1 + sum(plane.eave_height.value >= ft * FOOT_M for ft in survey.system.classes.storey_eaves_ft)


def straddling(survey: Survey) -> tuple[Notice, ...]:
    """Planes whose 95 % bound lies on both sides of a limit of pitch or height that decides something."""
    notices = []
    for limit in sorted(_limits(survey.system)):
        ids = straddlers(survey.planes, limit)
        if ids:
            text = f"pitch bound straddles {limit:g}:12, the best value decides: check {', '.join(ids)}"
            notices.append(Notice(code="pitch_straddles", text=text, about=ids))
    for feet in survey.system.classes.storey_eaves_ft:
        ids = tuple(
            p.id
            for p in survey.planes
            if p.eave_height is not None and p.eave_height.low < feet * FOOT_M < p.eave_height.high
        )
        if ids:
            text = (
                f"eave height bound straddles {feet:g} ft, the storey class may be one off: {', '.join(ids)}"
            )
            notices.append(Notice(code="height_straddles", text=text, about=ids))
    return tuple(notices)


def _limits(system: System) -> Iterable[float]:
    """All rises at which a class, a layer or a rule changes."""
    limits = {*system.classes.rise_from, *system.classes.rise_above}
    limits |= {system.shingle.lowest_rise, system.shingle.steep_above}
    for layer in system.layer:
        if isinstance(layer, AreaLayer):
            limits |= {r for r in (layer.rise_from, layer.rise_above, layer.rise_below) if r is not None}
        elif isinstance(layer, EaveBandLayer):
            steep = layer.steep[system.edition]
            limits |= set() if steep == "none" else {steep.rise_from}
        elif isinstance(layer, PerimeterLayer):
            limits.add(layer.steep_above)
    limits.discard(0)
    return limits
