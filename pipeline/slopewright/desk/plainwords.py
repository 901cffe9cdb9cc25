"""Messages that speak of flags and of paths, said for a page that has fields and names."""

from __future__ import annotations

import re
from pathlib import Path

_WORDS = (
    (r"(give|with) --unit (m|ft|us-ft)\b", r"set the cloud's unit to \2 in the job's form"),
    (r"--unit", "the cloud's unit in the job's form"),
    (r"Choose one with --at X Y", "Choose one on the page"),
    (r"--at X Y|--at", "the choice of roof"),
    (r"choose another --out, or give --force to measure again", "undo them, or measure from scratch"),
    (r"choose another --out or give --force", "measure from scratch to replace it"),
    (r"choose another( run folder)?( with)? --out", "move it elsewhere"),
    (r"measure again with --force", "measure from scratch"),
    (r"with --system", "in the job's form"),
)


def for_page(text: str, root: Path) -> str:
    """A message without flags of the command line, and with names as they stand in the jobs folder."""
    text = text.replace(f"{root}/", "")
    for pattern, words in _WORDS:
        text = re.sub(pattern, words, text)
    return text
