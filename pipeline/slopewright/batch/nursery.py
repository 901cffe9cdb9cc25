"""A process that does nothing but start jobs: libraries loaded once, a child a job, limits on each.

Run as `python -m slopewright.batch.nursery`: a request a line on its input, an answer a line on its
output, JSON both.  It has one thread, so that it may fork at any time; whatever a job does to its own
process (a crash in a library's native code, too much memory, an endless loop) ends with that process.
"""

from __future__ import annotations

import ctypes
import gc
import json
import os
import resource
import select
import signal
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from typing import Any

from .. import takeoff
from ..errors import InputError, SlopewrightError
from ..intent import ROOF_ONLY
from ..job.systems import find_system, read_system
from ..runfolder import library_versions, source_digest
from .cuts import cut_tile
from .entry import Entry
from .job import finished, measured
from .places import Places
from .row import Row, Status

LOADED = ("lazrs", "pyproj", "scipy.optimize", "scipy.ndimage", "scipy.sparse.csgraph", "scipy.spatial")
LOADED_TO_DRAW = ("ezdxf", "trimesh", "typst")
PR_SET_PDEATHSIG = 1  # Linux, prctl(2): a signal to the child when its parent dies
LOST = "its process ended with"
BYTES_PER_GB = 1 << 30
FIRST_TO_GO = "1000"  # oom_score_adj of a job, proc(5): the kernel kills it before anything else
PIPE_BYTES = 1 << 16


def main() -> None:
    """Answer requests until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for line in iter(sys.stdin.readline, ""):
        answer = _serve(json.loads(line))
        print(json.dumps(answer), flush=True)


def _serve(asked: dict[str, Any]) -> dict[str, Any]:
    _load(asked["files"])
    if "tile" in asked:
        return _cut(asked)
    entry, places = Entry.from_json(asked["entry"]), Places(Path(asked["folder"]))
    start = time.perf_counter()
    row = None if asked["again"] else finished(entry, places, asked["files"], asked["metric"])
    held, peak_mb = row is not None, 0.0
    if row is None:
        row, peak_mb = _measure(entry, places, asked)
    seconds = round(time.perf_counter() - start, 3)
    return {"row": row.as_json(), "held": held, "seconds": seconds, "peak_mb": peak_mb}


def _cut(asked: dict[str, Any]) -> dict[str, Any]:
    """Cut a tile; the answer has a reason where that failed."""

    def work() -> dict[str, Any]:
        try:
            cut_tile(asked)
        except (InputError, OSError, MemoryError) as error:
            return {"reason": " ".join(str(error).split()) or f"more than {asked['memory_limit_gb']:g} GB"}
        return {"reason": ""}

    end = in_child(work, asked)
    name = Path(asked["tile"]).name
    return end.answer or {"reason": f"{name}: took too long" if end.late else f"{name}: {LOST} {end.how}"}


def _measure(entry: Entry, places: Places, asked: dict[str, Any]) -> tuple[Row, float]:
    """Measure a roof; whatever happens there is a row."""
    end = in_child(lambda: measured(entry, places, asked["files"], asked["metric"]).as_json(), asked)
    if end.late:
        row = Row(id=entry.id, status=Status.TIMEOUT, reason=f"took longer than {asked['time_limit_s']:g} s")
        return row, end.peak_mb
    with suppress(ValueError, KeyError, TypeError):
        row = Row.from_json(end.answer or {})
        if row.status is Status.MEMORY:
            row = replace(row, reason=f"needs more than {asked['memory_limit_gb']:g} GB")
        return row, end.peak_mb
    return Row(id=entry.id, status=Status.CRASHED, reason=f"{LOST} {end.how}"), end.peak_mb


def _load(files: str) -> None:
    """Load what jobs need and look up what is the same for all of them, once; they inherit it.

    No job is run here to warm up: libraries would start threads, which a child does not inherit.
    """
    names = LOADED if files == ROOF_ONLY else LOADED + LOADED_TO_DRAW
    if not all(name in sys.modules for name in names):
        for name in names:
            import_module(name)
        source_digest()
        library_versions()
        with suppress(SlopewrightError):  # whose fault it is, its job says
            takeoff.system_from_toml(read_system(find_system(None)), file="")
        gc.collect()
        gc.freeze()  # pages that the collector does not touch stay shared with the children


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """How a child ended."""

    answer: dict[str, Any] | None
    late: bool
    how: str  # it ended without an answer
    peak_mb: float


def in_child(work: Callable[[], dict[str, Any]], asked: dict[str, Any], asker: int = 0) -> End:
    """Do some work in a child, within the limits that are asked for.

    Parameters
    ----------
    work : callable
        Returns what can be written as JSON.
    asked : dict
        With time_limit_s and memory_limit_gb.
    asker : int
        File descriptor that ends when nobody is left who asked; by default the standard input.
    """
    reading, writing = os.pipe()
    parent = os.getpid()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _live(work, asked, writing, parent)  # does not return
    os.close(writing)
    try:
        content, late = _listen(reading, asker, time.monotonic() + asked["time_limit_s"])
    finally:
        os.close(reading)
        for kill in (os.kill, os.killpg):  # it may not have a group yet; in the group is what it started
            with suppress(ProcessLookupError):
                kill(child, signal.SIGKILL)
        _, status, usage = os.wait4(child, 0)
    answer = None
    with suppress(ValueError):
        answer = json.loads(content)
    return End(answer=answer, late=late, how=_ended(status), peak_mb=round(usage.ru_maxrss / 1024, 1))


def _listen(reading: int, asker: int, deadline: float) -> tuple[bytes, bool]:
    """The line that a child writes, or what it wrote until its end; and whether it was late.

    Raises
    ------
    SystemExit
        If nobody is left who asked.
    """
    content = b""
    while not content.endswith(b"\n"):
        left = deadline - time.monotonic()
        if left <= 0:
            return content, True
        ready, _, _ = select.select([reading, asker], [], [], left)
        if asker in ready:  # no request comes while one is served: it is the end of the batch
            raise SystemExit
        if reading in ready:
            block = os.read(reading, PIPE_BYTES)
            if not block:
                break
            content += block
    return content, False


def _live(work: Callable[[], dict[str, Any]], asked: dict[str, Any], writing: int, parent: int) -> None:
    """The life of a child: limits, its work, its answer, and out without touching what it shares."""
    try:
        os.setsid()
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
        if os.getppid() != parent:  # it died before that
            return
        with suppress(OSError):
            Path("/proc/self/oom_score_adj").write_text(FIRST_TO_GO, encoding="ascii")
        nothing = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(nothing, stream)
        limit = int(asked["memory_limit_gb"] * BYTES_PER_GB)
        resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        view = memoryview(json.dumps(work()).encode() + b"\n")
        while view:
            view = view[os.write(writing, view) :]
    finally:
        os._exit(0)


def _ended(status: int) -> str:
    if not os.WIFSIGNALED(status):
        return f"exit status {os.waitstatus_to_exitcode(status)} and no answer"
    number = os.WTERMSIG(status)
    name = signal.Signals(number).name
    return f"{name}: a crash in a library's native code, or killed from outside (for lack of memory?)"


if __name__ == "__main__":
    main()
