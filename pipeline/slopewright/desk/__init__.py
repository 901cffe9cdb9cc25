"""The local workbench: the whole job in a browser, offline."""

from .serve import serve

__all__ = ["serve"]
