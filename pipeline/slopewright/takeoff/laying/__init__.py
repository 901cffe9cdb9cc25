"""Courses of shingles laid on planes: pieces, what they are cut from, and the waste that this leaves."""

from .drawing import draw_courses
from .field import FieldNeed, field_need
from .layout import PlaneCourses, RoofCourses, as_json, lay_plane, lay_roof
from .pattern import Laying, Pattern, make_pattern
from .reuse import POLICY_RULES, Policy
from .shape import OPENINGS

__all__ = [
    "OPENINGS",
    "POLICY_RULES",
    "FieldNeed",
    "Laying",
    "Pattern",
    "PlaneCourses",
    "Policy",
    "RoofCourses",
    "as_json",
    "draw_courses",
    "field_need",
    "lay_plane",
    "lay_roof",
    "make_pattern",
]
