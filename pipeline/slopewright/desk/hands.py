"""Short work on one job while a person waits: a second process, kept warm; a crash costs one click."""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import ParamSpec, TypeVar

from ..errors import SlopewrightError

P = ParamSpec("P")
R = TypeVar("R")


class Hands:
    """One process that does what it is told, one thing after the other."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._pool = _new_pool()
        self._warm = False

    def warm(self) -> None:
        """Load the libraries before they are needed; not at the start, which would slow the page."""
        with self._guard:
            if not self._warm:
                self._warm = True
                self._pool.submit(_load)

    def do(self, work: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> R:
        """Do something there and wait for it.

        Raises
        ------
        SlopewrightError
            As the work raises it, or if its process died.
        """
        with self._guard:
            pool = self._pool
        try:
            return pool.submit(work, *args, **kwargs).result()
        except BrokenProcessPool as error:
            with self._guard:
                if self._pool is pool:
                    self._pool = _new_pool()
            raise SlopewrightError(
                "the process that did this ended without a word, nothing was changed; try again"
            ) from error

    def close(self) -> None:
        """End the process."""
        self._pool.shutdown(wait=True, cancel_futures=True)


def _new_pool() -> ProcessPoolExecutor:
    context = multiprocessing.get_context("spawn")  # threads and forks do not mix
    return ProcessPoolExecutor(max_workers=1, mp_context=context, initializer=_begin)


def _begin() -> None:
    """Limit threads before numpy is loaded, and end when the server does, even if it was killed."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(0)


def _load() -> None:
    from .. import run  # noqa: F401
