"""One run in a process of its own: python -m slopewright.desk.worker JOBS NUMBER.

It needs no server: it writes its progress into the database and lives on when the server is killed.  A crash
ends this process and no other.
"""

from __future__ import annotations

import os
import signal
import sqlite3
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

from ..errors import SlopewrightError
from . import store as states
from .places import Places
from .plainwords import for_page
from .store import Store

OF_PHOTOS = "reconstruct"  # the stage that a cloud does not need
VIEW_STAGE = "view"  # the cloud made ready to be looked at


def main(arguments: list[str]) -> int:
    """Do one run of the queue and write its end into the database."""
    places, number = Places(Path(arguments[0])), int(arguments[1])
    store = Store(places.database)
    lock = hold(places.lock(number))
    if lock is None:
        return 1
    signal.signal(signal.SIGTERM, _stop)
    run = store.run(number)
    if run is None:
        return 1
    try:
        _measure(places, store, run)
    except SlopewrightError as error:
        store.finish(number, states.REFUSED, for_page(str(error), places.root))
    except SystemExit:
        store.finish(number, states.CANCELLED)
    except BaseException as error:
        traceback.print_exc()
        store.finish(number, states.FAILED, f"internal failure, {type(error).__name__}: {error}")
    else:
        store.clear_redo(run["job"])
        store.finish(number, states.DONE)
    finally:
        lock.close()
    return 0


def hold(path: Path) -> sqlite3.Connection | None:
    """Lock a file until the connection closes or the process ends, in any way; None if it is locked."""
    connection = sqlite3.connect(path, timeout=0, isolation_level=None)
    try:
        connection.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError:
        connection.close()
        return None
    return connection


def _measure(places: Places, store: Store, run: dict[str, Any]) -> None:
    from ..intent import Options
    from ..job import load_job
    from ..run import STAGES, measure
    from .points import write_points

    number, job = run["number"], run["job"]
    store.introduce(number, os.getpid(), ())
    stages: tuple[str, ...] = (*STAGES, VIEW_STAGE)
    if not load_job(places.job(job)).photos:
        stages = tuple(stage for stage in stages if stage != OF_PHOTOS)
    store.introduce(number, os.getpid(), stages)

    @contextmanager
    def progress(stage: str) -> Iterator[None]:
        store.begin_stage(number, stage)
        yield
        store.end_stage(number, stage)

    asked = run["options"]
    at = asked.get("at")
    options = Options(at=(at[0], at[1]) if at else None, metric=asked["metric"], force=asked["force"])
    measure(places.job(job), places.run(job), options, progress)
    with progress(VIEW_STAGE):
        write_points(places, job)


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise SystemExit(1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
