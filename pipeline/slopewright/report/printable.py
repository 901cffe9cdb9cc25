"""Text in the characters that the shipped fonts have; others are shown by their code point."""

from __future__ import annotations

from bisect import bisect_right
from functools import cache
from pathlib import Path

from .text import plain_text

FONTS = Path(__file__).parent / "fonts"
LONGEST_WORD = 28  # characters; longer ones may be broken, every
BREAK_EVERY = 14
BREAK = "\u200b"  # zero-width space: a place to break a line


@cache
def _coverage() -> tuple[tuple[int, ...], tuple[int, ...]]:
    """First and last code points of the runs that the fonts cover."""
    rows = [line.split() for line in (FONTS / "coverage.txt").read_text(encoding="ascii").splitlines()]
    return tuple(int(first, 16) for first, _ in rows), tuple(int(last, 16) for _, last in rows)


def drawable(text: str) -> str:
    """Text with every character that no shipped font has as [U+1F3E0]; nothing else changes."""
    firsts, lasts = _coverage()

    def covered(code: int) -> bool:
        run = bisect_right(firsts, code) - 1
        return run >= 0 and code <= lasts[run]

    return "".join(c if c < "\x7f" or covered(ord(c)) else f"[U+{ord(c):04X}]" for c in text)


def printable(text: str, most: int = 2000) -> str:
    """Any text as a printed page can show it: one line, no controls, long words breakable.

    Parameters
    ----------
    text : str
    most : int
        Characters; the cut is marked.
    """
    shown = drawable(plain_text(text))
    if len(shown) > most:
        shown = shown[: most - 1] + "…"
    return " ".join(_breakable(word) for word in shown.split(" "))


def _breakable(word: str) -> str:
    if len(word) <= LONGEST_WORD:
        return word
    return BREAK.join(word[i : i + BREAK_EVERY] for i in range(0, len(word), BREAK_EVERY))
