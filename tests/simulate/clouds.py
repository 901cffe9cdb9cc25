"""The kinds of capture: see `airborne` for an aircraft's scanner, `photogrammetry` for a drone's camera."""

from .airborne import airborne
from .photogrammetry import photogrammetry
from .sim_cloud import SimCloud

__all__ = ["SimCloud", "airborne", "photogrammetry"]
