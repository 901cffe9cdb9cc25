"""Files that come with the program: roof systems and sample jobs."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).parent
_CHECKOUT = _PACKAGE.parents[1]  # pipeline/ lies at the top of the repository


def shipped(relative: str) -> Path:
    """Where a shipped file or folder lies: inside the installed package, or at the top of a checkout."""
    installed = _PACKAGE / relative
    return installed if installed.exists() else _CHECKOUT / relative
