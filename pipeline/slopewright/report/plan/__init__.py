"""The plan drawing: true to scale, readable in black and white."""

from .drawing import plan_svg

__all__ = ["plan_svg"]
