"""The plan drawings: true to scale, readable in black and white."""

from .drawing import plan_svg
from .dxf import plan_dxf
from .overview import overview_svg
from .true_shape import TrueShape, true_shape

__all__ = ["TrueShape", "overview_svg", "plan_dxf", "plan_svg", "true_shape"]
