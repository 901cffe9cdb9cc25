"""The command line: arguments in, `run` called, exit status out.  Imports nothing but click until it must."""

from __future__ import annotations

from .main import main

__all__ = ["main"]
