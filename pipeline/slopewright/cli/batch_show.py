"""A batch from the terminal: rate and time left while it runs, counts when it has ended."""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from .. import batch
from ..errors import InputError
from .outcome import INTERRUPTED, NOT_CERTIFIED, OK, Outcome

EVERY_S = 10.0  # between lines of progress where no terminal redraws one


def run_and_show(
    manifest: Path | None,
    out: Path,
    *,
    tiles: Path | None,
    roofs: Path | None,
    unit: str | None,
    files: str,
    gates: Path | None,
    workers: int | None,
    scheduler: str | None,
    time_limit_s: float,
    memory_limit_gb: float,
    force: bool,
    metric: bool,
    as_json: bool,
    quiet: bool,
) -> Outcome:
    """Run a batch and print how it ended."""
    entries, survey = _asked(manifest, tiles, roofs, unit)
    request = batch.Request(
        entries=entries,
        survey=survey,
        folder=out,
        gates=batch.read_gates(gates),
        files=files,
        metric=metric,
        force=force,
        n_workers=workers or len(os.sched_getaffinity(0)),
        scheduler=scheduler,
        time_limit_s=time_limit_s,
        memory_limit_gb=memory_limit_gb,
    )
    done, total = 0, len(entries) if survey is None else len(batch.read_roofs(survey.roofs).roofs)

    def count(answer: batch.Answer) -> None:
        nonlocal done
        done += 1
        show(answer)

    try:
        with _terminated_as_interrupted(), _progress(total, quiet=quiet or as_json) as show:
            result = batch.run(request, count)
    except KeyboardInterrupt:
        message = f"interrupted, {done} of {total} roofs done; the same command goes on from there"
        return _said(Outcome(status=INTERRUPTED, message=message, kind="KeyboardInterrupt", as_json=as_json))
    counts = result.counts()
    if as_json:
        files_written = [str(path) for path in batch.paths_of(result.folder)]
        click.echo(
            json.dumps({"batch": str(result.folder), "files": files_written, **counts}, ensure_ascii=False)
        )
    elif not quiet:
        _show_counts(result, counts)
    unmeasured = sum(n for status, n in counts["status"].items() if status != "ok")
    if not unmeasured:
        return Outcome(status=OK)
    message = f"{unmeasured} of {counts['roofs']} roofs were not measured or not certified, see summary.html"
    return _said(Outcome(status=NOT_CERTIFIED, message=message))


def _asked(
    manifest: Path | None, tiles: Path | None, roofs: Path | None, unit: str | None
) -> tuple[tuple[batch.Entry, ...], batch.MappedSurvey | None]:
    """Roofs of a manifest, or of a map."""
    if manifest is not None:
        if tiles or roofs or unit:
            raise InputError("MANIFEST and --tiles, --roofs or --unit are given, need one or the other")
        return batch.read_manifest(manifest), None
    if tiles is None or roofs is None:
        raise InputError("need a MANIFEST (CSV table or folder of jobs), or --tiles and --roofs")
    return (), batch.MappedSurvey(tiles=tiles, roofs=roofs, unit=unit)


def _said(outcome: Outcome) -> Outcome:
    outcome.show()
    return outcome


def _show_counts(result: batch.BatchResult, counts: dict[str, Any]) -> None:
    click.echo(
        f"{counts['roofs']} roofs: " + ", ".join(f"{n} {status}" for status, n in counts["status"].items())
    )
    gate = counts["gate"]
    click.echo(f"May pass without a look: {gate['pass']}.  Need one: {gate['look']}.")
    for rule, n in sorted(counts["stopped_by"].items(), key=lambda item: (-item[1], item[0])):
        click.echo(f"  {n:>6} stopped by {rule}")
    held = sum(answer.held for answer in result.answers)
    if held:
        click.echo(f"{held} were finished before (same inputs, options and version).")
    click.echo(f"See {result.folder / 'summary.html'}")


@contextmanager
def _terminated_as_interrupted() -> Iterator[None]:
    """SIGTERM ends a batch as an interrupt from the keyboard does."""

    def interrupt(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@contextmanager
def _progress(total: int, *, quiet: bool) -> Iterator[Callable[[batch.Answer], None]]:
    """A bar on a terminal, a line now and then in a pipe, nothing when quiet."""
    if quiet:
        yield lambda answer: None
        return
    if not sys.stderr.isatty():
        yield _Lines(total)
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
        TextColumn("time left"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bars:
        task = bars.add_task("roofs", total=total, rate="")
        start, bad = time.monotonic(), 0

        def show(answer: batch.Answer) -> None:
            nonlocal bad
            bad += answer.row.status not in batch.MEASURED
            bars.advance(task)
            rate = bars.tasks[0].completed / max(time.monotonic() - start, 1e-3)
            bars.update(task, rate=f"{rate:.1f} a second, {bad} not measured")

        yield show


class _Lines:
    """Progress as lines."""

    def __init__(self, total: int) -> None:
        self.total, self.done, self.bad = total, 0, 0
        self.start = self.last = time.monotonic()

    def __call__(self, answer: batch.Answer) -> None:
        self.done += 1
        self.bad += answer.row.status not in batch.MEASURED
        now = time.monotonic()
        if now - self.last < EVERY_S:
            return
        self.last = now
        rate = self.done / (now - self.start)
        left_s = (self.total - self.done) / rate
        click.echo(
            f"{self.done} of {self.total} roofs, {self.bad} not measured, {rate:.1f} a second,"
            f" {left_s / 60:.0f} min {left_s % 60:.0f} s left",
            err=True,
        )
