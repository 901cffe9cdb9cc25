"""Planes of a roof: which point belongs to which, and each plane's parameters with their covariance."""

from .config import PlanesConfig
from .stage import run

__all__ = ["PlanesConfig", "run"]
