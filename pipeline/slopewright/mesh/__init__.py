"""Planes of a measured roof to triangles.  Not a solid: walls and soffits are not measured."""

from .triangles import run

__all__ = ["run"]
