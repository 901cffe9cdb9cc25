"""Text that a person or another program gave, made safe to show: it is shown, never interpreted."""

from __future__ import annotations

import unicodedata

# Explicit direction controls reorder the text around them (Unicode Standard Annex 9, section 2).
_DIRECTION_CONTROLS = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_UNPRINTABLE = frozenset({"Cc", "Cs", "Cn"})  # controls, lone surrogates, not assigned (non-characters too)


def plain_text(text: str) -> str:
    """Text in one line, without controls: a terminal, an XML reader or a table shows it as it stands.

    Parameters
    ----------
    text : str
        Any text, of any script.

    Returns
    -------
    str
        White space becomes single spaces; control characters, lone surrogates and explicit direction
        controls become U+FFFD, so that their presence is seen.
    """
    shown = (
        "\ufffd" if c in _DIRECTION_CONTROLS or unicodedata.category(c) in _UNPRINTABLE else c
        for c in " ".join(text.split())
    )
    return "".join(shown)


def shorten(text: str, length: int) -> str:
    """At most `length` characters of one-line text, the cut marked by an ellipsis."""
    text = plain_text(text)
    return text if len(text) <= length else text[: max(length - 1, 0)].rstrip() + "…"
