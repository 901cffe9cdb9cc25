"""Truncated and damaged files, in one line each, whoever finds out."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from ..errors import InputError

MAX_REASON = 120  # characters of a decoder's own words that we pass on


def check_whole(name: str, n_promised: int, n_held: int) -> None:
    """Raise InputError if a file holds fewer points than it promises."""
    if n_held < n_promised:
        raise InputError(
            f"{name}: truncated, {n_promised} points promised, {n_held} held; need the whole file"
        )


@contextmanager
def native_errors(name: str) -> Iterator[None]:
    """Raise InputError in place of whatever a decoder throws at a damaged file.

    A panic of a Rust decoder is a BaseException, so that is what is caught; requests to stop pass through.
    """
    try:
        yield
    except (InputError, MemoryError, KeyboardInterrupt, SystemExit, GeneratorExit):
        raise
    except BaseException as error:
        reason = " ".join(str(error).split())[:MAX_REASON] or type(error).__name__
        raise InputError(f"{name}: truncated or damaged ({reason}), need the whole file") from error
