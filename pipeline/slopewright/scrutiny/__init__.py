"""Scrutiny: what the cloud around a measured roof says against it, as notices.  Metres.

Nothing is measured here: the stages before may fit a tidy roof to half of one.
"""

from .stage import run

__all__ = ["run"]
