"""Jobs from a thread of a worker: handed to a nursery of its own, which is replaced when it fails."""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import threading
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import Any

from .row import Row, Status

GRACE_S = 60.0  # over a job's time limit before its nursery counts as stuck: loading, reading rows
ATTEMPTS = 2  # a nursery that dies was killed from outside; the job gets a second one
KILLED = "the process that runs the jobs was killed or stuck; see whether the machine has memory left"
ONE_THREAD = {name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What holds for all jobs of a batch."""

    token: str  # of this run of the batch, so that its end can be told to its jobs
    folder: str  # of the batch
    files: str  # of each run, as in `intent.FILES`
    metric: bool
    again: bool  # also what is finished
    time_limit_s: float
    memory_limit_gb: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """How a job ended, and what it took; only the row repeats from run to run."""

    row: Row
    held: bool  # it was finished before
    seconds: float = 0.0
    peak_mb: float = 0.0


_own = threading.local()
_all: list[subprocess.Popen[str]] = []
_lock = threading.Lock()
_ended: set[str] = set()  # tokens


def run_isolated(entry: dict[str, Any], terms: Terms) -> Answer:
    """Run one job in a process of its own and wait for its row.

    Parameters
    ----------
    entry : dict
        As `Entry.as_json` makes it: this is called through a scheduler.
    terms : Terms

    Returns
    -------
    Answer
        Whatever happens to the job.
    """
    answer = _asked({"entry": entry}, terms)
    if answer is None:
        return Answer(row=Row(id=entry["id"], status=Status.CRASHED, reason=KILLED), held=False)
    return Answer(**{**answer, "row": Row.from_json(answer["row"])})


def cut_isolated(task: dict[str, Any], terms: Terms) -> str:
    """Cut one tile in a process of its own; returns why it failed, or nothing."""
    answer = _asked(task, terms)
    return KILLED if answer is None else str(answer["reason"])


def _asked(task: dict[str, Any], terms: Terms) -> dict[str, Any] | None:
    request = json.dumps({**task, **asdict(terms)})
    for _ in range(ATTEMPTS):
        if terms.token in _ended:
            break
        answer = _ask(request, terms.time_limit_s + GRACE_S)
        if answer is not None:
            return answer
    return None


def end_batch(token: str) -> None:
    """End the nurseries of this process, and with them the jobs that run in them."""
    with _lock:
        _ended.add(token)
        while _all:
            _end(_all.pop())


def source_of_worker() -> str:
    """Which program a worker has: every part of a batch must be done by the same one."""
    from ..runfolder import source_digest

    return source_digest()


def _ask(request: str, patience_s: float) -> dict[str, Any] | None:
    """Send a request to this thread's nursery; None if it did not answer, and is gone then."""
    nursery = _nursery()
    assert nursery.stdin is not None and nursery.stdout is not None
    with suppress(OSError, ValueError):
        nursery.stdin.write(request + "\n")
        nursery.stdin.flush()
        ready, _, _ = select.select([nursery.stdout], [], [], patience_s)
        line = nursery.stdout.readline() if ready else ""
        if line:
            answer: dict[str, Any] = json.loads(line)
            return answer
    with _lock:
        if nursery in _all:
            _all.remove(nursery)
    _end(nursery)
    return None


def _nursery() -> subprocess.Popen[str]:
    nursery: subprocess.Popen[str] | None = getattr(_own, "nursery", None)
    if nursery is None or nursery.poll() is not None or nursery not in _all:
        nursery = subprocess.Popen(
            [sys.executable, "-m", "slopewright.batch.nursery"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env=os.environ | ONE_THREAD,
            start_new_session=True,  # an interrupt from the terminal is for the batch, which ends us
        )
        with _lock:
            _all.append(nursery)
        _own.nursery = nursery
    return nursery


def _end(nursery: subprocess.Popen[str]) -> None:
    nursery.kill()
    for stream in (nursery.stdin, nursery.stdout):
        if stream is not None:
            with suppress(OSError):
                stream.close()
    nursery.wait()
