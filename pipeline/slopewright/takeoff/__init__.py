"""Takeoff: from the measured roof and a roof system to quantities in the order of the work.

`system_from_toml` checks a system file that was read elsewhere; `run` takes the quantities.
"""

from .layout import lay_out, layout_files
from .stage import run
from .system import System, system_from_toml

__all__ = ["System", "lay_out", "layout_files", "run", "system_from_toml"]
