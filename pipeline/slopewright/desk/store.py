"""The desk's database: the queue of runs with their stages, and what redo would do again.

One connection a call: they break when threads share them.  Write-ahead logging lets workers write progress
while the page reads.  Jobs, results and journals are files; this database can be lost without losing one.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

PATIENCE_S = 20.0  # that a writer waits for another
QUEUED, RUNNING, DONE, FAILED, REFUSED, CANCELLED = (
    "queued", "running", "done", "failed", "refused", "cancelled",
)  # fmt: skip
_TABLES = """
CREATE TABLE IF NOT EXISTS runs (
    number INTEGER PRIMARY KEY AUTOINCREMENT, job TEXT NOT NULL, options TEXT NOT NULL, state TEXT NOT NULL,
    n_bytes INTEGER NOT NULL DEFAULT 0, stages TEXT NOT NULL DEFAULT '[]', pid INTEGER,
    message TEXT NOT NULL DEFAULT '',
    queued REAL NOT NULL, started REAL, ended REAL
);
CREATE TABLE IF NOT EXISTS stages (
    run INTEGER NOT NULL, name TEXT NOT NULL, began REAL NOT NULL, ended REAL
);
CREATE TABLE IF NOT EXISTS redo (
    number INTEGER PRIMARY KEY AUTOINCREMENT, job TEXT NOT NULL, edit TEXT NOT NULL
);
CREATE INDEX IF NOT EXISTS runs_of_job ON runs (job, number);
CREATE INDEX IF NOT EXISTS stages_of_run ON stages (run);
"""
MOST_LEARNT = 20  # runs that expected times are taken from


class Store:
    """The database of one jobs folder."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def prepare(self) -> None:
        """Make the tables."""
        with self._connect() as db:
            db.execute("PRAGMA journal_mode = WAL")
            db.executescript(_TABLES)

    @contextmanager
    def _connect(self) -> Iterator[sqlite3.Connection]:
        db = sqlite3.connect(self.path, timeout=PATIENCE_S)
        db.row_factory = sqlite3.Row
        try:
            with db:
                yield db
        finally:
            db.close()

    def enqueue(self, job: str, options: dict[str, Any], n_bytes: int) -> int:
        """Add a run to the queue; the one that waits for the same job already is replaced."""
        with self._connect() as db:
            db.execute("DELETE FROM runs WHERE job = ? AND state = ?", (job, QUEUED))
            row = db.execute(
                "INSERT INTO runs (job, options, state, n_bytes, queued) VALUES (?, ?, ?, ?, ?)",
                (job, json.dumps(options), QUEUED, n_bytes, time.time()),
            )
            return int(row.lastrowid or 0)

    def run(self, number: int) -> dict[str, Any] | None:
        """One run with its stages."""
        with self._connect() as db:
            row = db.execute("SELECT * FROM runs WHERE number = ?", (number,)).fetchone()
            return self._with_stages(db, row) if row else None

    def last_run(self, job: str) -> dict[str, Any] | None:
        """The newest run of a job."""
        with self._connect() as db:
            row = db.execute("SELECT * FROM runs WHERE job = ? ORDER BY number DESC", (job,)).fetchone()
            return self._with_stages(db, row) if row else None

    def in_state(self, state: str) -> list[dict[str, Any]]:
        """The runs in a state, oldest first."""
        with self._connect() as db:
            rows = db.execute("SELECT * FROM runs WHERE state = ? ORDER BY number", (state,)).fetchall()
            return [self._with_stages(db, row) for row in rows]

    def busy(self, job: str) -> bool:
        """Whether a run of the job waits or is under way."""
        last = self.last_run(job)
        return last is not None and last["state"] in (QUEUED, RUNNING)

    def start(self, number: int) -> bool:
        """Mark a queued run as running; False where it was cancelled meanwhile."""
        with self._connect() as db:
            done = db.execute(
                "UPDATE runs SET state = ?, started = ? WHERE number = ? AND state = ?",
                (RUNNING, time.time(), number, QUEUED),
            )
            return done.rowcount == 1

    def introduce(self, number: int, pid: int, stages: tuple[str, ...]) -> None:
        """What a worker says of itself when it begins."""
        with self._connect() as db:
            db.execute(
                "UPDATE runs SET pid = ?, stages = ? WHERE number = ?", (pid, json.dumps(stages), number)
            )

    def begin_stage(self, number: int, name: str) -> None:
        """A stage of a run begins."""
        with self._connect() as db:
            db.execute("INSERT INTO stages (run, name, began) VALUES (?, ?, ?)", (number, name, time.time()))

    def end_stage(self, number: int, name: str) -> None:
        """A stage of a run ended well."""
        with self._connect() as db:
            db.execute("UPDATE stages SET ended = ? WHERE run = ? AND name = ?", (time.time(), number, name))

    def finish(self, number: int, state: str, message: str = "") -> None:
        """A run ended; the first end that is told counts."""
        with self._connect() as db:
            db.execute(
                "UPDATE runs SET state = ?, message = ?, ended = ? WHERE number = ? AND state IN (?, ?)",
                (state, message, time.time(), number, QUEUED, RUNNING),
            )

    def forget(self, job: str) -> None:
        """Drop what is known of a job, which is gone."""
        with self._connect() as db:
            db.execute("DELETE FROM stages WHERE run IN (SELECT number FROM runs WHERE job = ?)", (job,))
            db.execute("DELETE FROM runs WHERE job = ?", (job,))
            db.execute("DELETE FROM redo WHERE job = ?", (job,))

    def paces(self) -> dict[str, list[float]]:
        """Seconds per megabyte of input that each stage took in earlier runs."""
        with self._connect() as db:
            rows = db.execute(
                "SELECT s.name, (s.ended - s.began) * 1e6 / r.n_bytes AS pace FROM stages s JOIN runs r"
                " ON r.number = s.run WHERE s.ended IS NOT NULL AND r.n_bytes > 0 AND r.number IN"
                " (SELECT number FROM runs WHERE state = ? ORDER BY number DESC LIMIT ?)",
                (DONE, MOST_LEARNT),
            ).fetchall()
        paces: dict[str, list[float]] = {}
        for row in rows:
            paces.setdefault(row["name"], []).append(row["pace"])
        return paces

    def push_redo(self, job: str, edit: dict[str, Any]) -> None:
        """Keep an edit that was undone."""
        with self._connect() as db:
            db.execute("INSERT INTO redo (job, edit) VALUES (?, ?)", (job, json.dumps(edit)))

    def pop_redo(self, job: str) -> None:
        """Drop the edit that was undone last."""
        with self._connect() as db:
            db.execute("DELETE FROM redo WHERE number = (SELECT MAX(number) FROM redo WHERE job = ?)", (job,))

    def redo(self, job: str) -> list[dict[str, Any]]:
        """Edits that were undone, the one to redo first at the end."""
        with self._connect() as db:
            rows = db.execute("SELECT edit FROM redo WHERE job = ? ORDER BY number", (job,)).fetchall()
            return [json.loads(row["edit"]) for row in rows]

    def clear_redo(self, job: str) -> None:
        """Forget what could be redone: the roof went another way."""
        with self._connect() as db:
            db.execute("DELETE FROM redo WHERE job = ?", (job,))

    def _with_stages(self, db: sqlite3.Connection, row: sqlite3.Row) -> dict[str, Any]:
        found = dict(row)
        found["options"], found["stages"] = json.loads(row["options"]), json.loads(row["stages"])
        log = db.execute(
            "SELECT name, began, ended FROM stages WHERE run = ? ORDER BY began", (row["number"],)
        )
        found["log"] = [dict(stage) for stage in log]
        return found
