"""Edges: how the planes meet and where they end, as one subdivision of the plan."""

from .stage import EdgesConfig, run

__all__ = ["EdgesConfig", "run"]
