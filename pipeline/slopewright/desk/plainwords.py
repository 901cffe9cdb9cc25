"""Messages that speak of flags, said for a page that has fields instead."""

from __future__ import annotations

import re

_WORDS = (
    (r"(give|with) --unit (m|ft|us-ft)\b", r"set the cloud's unit to \2 in the job's form"),
    (r"--unit", "the cloud's unit in the job's form"),
    (r"Choose one with --at X Y", "Choose one on the page"),
    (r"--at X Y|--at", "the choice of roof"),
    (r"; choose another --out or give --force", "; measure again from scratch to replace it"),
    (r"with --system", "in the job's form"),
)


def for_page(text: str) -> str:
    """A message without flags of the command line."""
    for pattern, words in _WORDS:
        text = re.sub(pattern, words, text)
    return text
