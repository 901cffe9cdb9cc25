"""ezdxf, imported without its search of all fonts, whose list it would write into the home folder.

We measure no text with it, so it is shown an empty list instead.
"""

from __future__ import annotations

import os
import sys
import tempfile
from importlib import import_module
from pathlib import Path
from typing import Any

CACHE_HOME = "XDG_CACHE_HOME"  # where the library looks for its list
NO_FONTS = '{"version": 0, "font-faces": []}'


def load_ezdxf() -> Any:
    """The library; takes a third of a second the first time, so call it only where a drawing is written."""
    if "ezdxf" in sys.modules:
        return import_module("ezdxf")
    before = os.environ.get(CACHE_HOME)
    with tempfile.TemporaryDirectory() as folder:
        listed = Path(folder) / "ezdxf" / "font_manager_cache.json"
        listed.parent.mkdir()
        listed.write_text(NO_FONTS, encoding="utf-8")
        os.environ[CACHE_HOME] = folder
        try:
            return import_module("ezdxf")
        finally:
            if before is None:
                del os.environ[CACHE_HOME]
            else:
                os.environ[CACHE_HOME] = before
