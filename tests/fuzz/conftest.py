"""Writers of files are shared with the tests of the readers."""

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1] / name) for name in ("cloud", "batch")]
