"""Planes of a measured roof to triangles, and the walls and ground below it.  Real walls are not measured."""

from .triangles import run

__all__ = ["run"]
