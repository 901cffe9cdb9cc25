"""How long each stage took: times.json, apart from run.json, whose bytes repeat."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

TIMES_FILE = "times.json"

Progress = Callable[[str], AbstractContextManager[object]]  # given a stage's name, wraps its work


class Clock:
    """Runs stages under a progress display and keeps their wall-clock seconds."""

    def __init__(self, progress: Progress) -> None:
        self.seconds: dict[str, float] = {}
        self._progress = progress

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time one stage."""
        with self._progress(name):
            start = time.perf_counter()
            yield
            self.seconds[name] = round(time.perf_counter() - start, 3)

    def write(self, folder: Path) -> None:
        """Write times.json."""
        content = {"format": "slopewright-times", "version": 1, "seconds": self.seconds}
        (folder / TIMES_FILE).write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
