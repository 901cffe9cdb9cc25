"""The courses that a takeoff's waste comes from, as files: replayable data, and a drawing a plane."""

from __future__ import annotations

from typing import Any

from ..roof import Roof, TakeoffRequest
from .layers import AreaLayer
from .laying import RoofCourses, as_json, draw_courses, lay_roof
from .survey import rise
from .system import System


def lay_out(roof: Roof, system: System, request: TakeoffRequest) -> RoofCourses | None:
    """Lay the courses of the planes in scope that the system shingles; None where there is nothing to lay.

    Parameters
    ----------
    roof : Roof
    system : System
    request : TakeoffRequest
        Its scope says which planes; checked by `run`.
    """
    layer = next((one for one in system.layer if isinstance(one, AreaLayer) and one.laid), None)
    if layer is None or system.laying is None:
        return None
    wanted = request.scope.planes
    planes = [p for p in roof.planes if (wanted is None or p.id in wanted) and layer.covers(rise(p))]
    return lay_roof(roof, planes, system.pattern(system.laying)) if planes else None


def layout_files(courses: RoofCourses, *, system: str) -> tuple[dict[str, Any], dict[str, str]]:
    """The content of layout.json, and an SVG drawing for each plane by its id."""
    content = as_json(courses)
    content = {
        "format": content.pop("format"),
        "version": content.pop("version"),
        "system": system,
        **content,
    }
    return content, {one.shape.plane: draw_courses(courses, one.shape.plane) for one in courses.planes}
