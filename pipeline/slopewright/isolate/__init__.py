"""Isolating: from a raw scene or a cut cloud to roofs, each with its own points.  Metres.

Cells, not neighbours: a grid of sums, the ground surface, flat cells above it, grouped by touching.
"""

from .config import IsolateConfig
from .find import run
from .footprints import footprint_from_geojson

__all__ = ["IsolateConfig", "footprint_from_geojson", "run"]
