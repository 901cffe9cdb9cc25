"""The queue: starts a worker for the next run, and tells of those that ended without a word.

Workers belong to the jobs folder, not to the server: one started before a restart is found by its lock.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from contextlib import suppress

from . import store as states
from .places import Places
from .store import Store
from .worker import hold

LOOK_S = 0.25  # between two looks at the queue
START_S = 30.0  # within which a worker that was started must have said so
GRACE_S = 4.0  # from asking a worker to stop to ending it
AT_ONCE = 1  # runs: each may take most of a laptop's memory
SUDDEN = (
    "the measuring ended without a word: out of memory, or stopped from outside;"
    " nothing was lost, run it again"
)


class Scheduler:
    """Runs the queue of one jobs folder in a thread."""

    def __init__(self, places: Places, store: Store) -> None:
        self._places, self._store = places, store
        self._children: dict[int, subprocess.Popen[bytes]] = {}
        self._ending: dict[int, float] = {}
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._loop, name="queue", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread; workers go on."""
        self._stop.set()
        self._thread.join()

    def cancel(self, number: int) -> None:
        """Take a run from the queue, or stop its worker."""
        run = self._store.run(number)
        if run is None:
            return
        self._store.finish(number, states.CANCELLED)
        if run["state"] == states.RUNNING:
            self._ending[number] = time.monotonic()
            self._signal(number, signal.SIGTERM)

    def _loop(self) -> None:
        while not self._stop.wait(LOOK_S):
            self._end_cancelled()
            running = [run for run in self._store.in_state(states.RUNNING) if not self._has_died(run)]
            queued = self._store.in_state(states.QUEUED)
            for run in queued[: max(AT_ONCE - len(running) - len(self._ending), 0)]:
                if self._store.start(run["number"]):
                    self._launch(run["number"])

    def _launch(self, number: int) -> None:
        log = self._places.lock(number).with_suffix(".log")
        with log.open("wb") as stream:
            self._children[number] = subprocess.Popen(
                [sys.executable, "-m", "slopewright.desk.worker", str(self._places.root), str(number)],
                stdin=subprocess.DEVNULL,
                stdout=stream,
                stderr=stream,
                start_new_session=True,  # an interrupt in the server's terminal is not meant for it
                env={**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
            )

    def _has_died(self, run: dict[str, object]) -> bool:
        number = int(str(run["number"]))
        if self._alive(number) or (run["pid"] is None and self._starts(run)):
            return False
        if (again := self._store.run(number)) and again["state"] == states.RUNNING:
            self._places.mend(str(run["job"]))
            self._store.finish(number, states.FAILED, SUDDEN)
        return True

    def _starts(self, run: dict[str, object]) -> bool:
        """Whether a worker may still be on its way to its lock."""
        child = self._children.get(int(str(run["number"])))
        if child is not None:
            return child.poll() is None
        return time.time() - float(str(run["started"])) < START_S

    def _alive(self, number: int) -> bool:
        child = self._children.get(number)
        if child is not None and child.poll() is not None:
            del self._children[number]
            self._places.lock(number).unlink(missing_ok=True)
            return False
        path = self._places.lock(number)
        if not path.exists():
            return False
        lock = hold(path)
        if lock is None:
            return True
        lock.close()
        return False

    def _end_cancelled(self) -> None:
        for number, asked in list(self._ending.items()):
            if not self._alive(number):
                del self._ending[number]
                if run := self._store.run(number):
                    self._places.mend(run["job"])
            elif time.monotonic() - asked > GRACE_S:
                self._signal(number, getattr(signal, "SIGKILL", signal.SIGTERM))

    def _signal(self, number: int, how: int) -> None:
        """Signal a worker that holds its lock: then its number is certainly its own."""
        run = self._store.run(number)
        if run and run["pid"] and self._alive(number):
            with suppress(ProcessLookupError):
                os.kill(run["pid"], how)
        elif (child := self._children.get(number)) is not None:
            child.terminate()
