"""The parts of a running desk, made once and handed to its routes."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..errors import InputError
from .hands import Hands
from .places import Places
from .scheduler import Scheduler
from .store import Store
from .uploads import Receiver


class BusyError(InputError):
    """Something else is being done with the job."""


class Desk:
    """One jobs folder and what works on it."""

    def __init__(self, root: Path) -> None:
        self.places = Places(root)
        self.store = Store(self.places.database)
        self.receiver = Receiver(self.places)
        self.scheduler = Scheduler(self.places, self.store)
        self.hands = Hands()
        self._in_hand: set[str] = set()
        self._guard = threading.Lock()

    def prepare(self) -> None:
        """Make folders and tables, and drop what is old.

        Raises
        ------
        InputError
            If the folder cannot be used.
        """
        self.places.prepare()
        self.store.prepare()
        self.places.empty_trash()
        self.receiver.drop_stale()

    def open(self) -> None:
        """Begin to work."""
        self.scheduler.start()

    def close(self) -> None:
        """Stop; runs under way go on."""
        self.scheduler.stop()
        self.hands.close()

    @contextmanager
    def in_hand(self, job: str) -> Iterator[Path]:
        """The run folder of a job, for one who changes it alone.

        Raises
        ------
        BusyError
            If it is being measured or changed.
        """
        folder = self.places.run(job)
        with self._guard:
            if self.store.busy(job):
                raise BusyError("the roof is being measured; wait for it, or stop it first")
            if job in self._in_hand:
                raise BusyError("the roof is being changed; wait for it")
            self._in_hand.add(job)
        try:
            yield folder
        finally:
            self._in_hand.discard(job)
