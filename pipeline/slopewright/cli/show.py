"""What a person or a machine sees: progress by stage, the summary, the JSON object."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from typing import Any

import click

from .. import report
from ..checked import COMPARE_FILE, TAPE_FILE
from ..checks import AGREE
from ..run import STAGES, RunResult
from ..runfolder import Progress
from .outcome import NOT_CERTIFIED, OK, Outcome

PIPE_WIDTH, MAX_WIDTH = 80, 100  # columns
MOST_OTHERS = 3
SHOWN_BELOW = frozenset({"other_roofs"})  # a line of its own says it, ready to paste


@contextmanager
def progress_bars(*, quiet: bool) -> Iterator[Progress]:
    """Bars by stage on a terminal, nothing in a pipe or when quiet; gone before the summary."""
    if quiet or not sys.stderr.isatty():
        yield nullcontext
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bars

    columns = (TextColumn("{task.description:<8}"), BarColumn(pulse_style="white"), TimeElapsedColumn())
    with Bars(*columns, console=Console(stderr=True), transient=True) as bars:
        tasks = {stage: bars.add_task(stage, total=1, start=False) for stage in STAGES}

        @contextmanager
        def progress(stage: str) -> Iterator[None]:
            bars.reset(tasks[stage], total=None)  # how long it takes is not known beforehand
            yield
            bars.update(tasks[stage], total=1, completed=1)

        yield progress


def show_result(result: RunResult, *, metric: bool, as_json: bool, quiet: bool, verbose: bool) -> Outcome:
    """Print what was measured; the outcome says whether it was certified."""
    if as_json:
        click.echo(json.dumps(_as_json(result), ensure_ascii=False, allow_nan=False))
    elif not quiet:
        width = _width()
        told = [n for n in (*result.roof.notices, *result.takeoff.notices) if n.code not in SHOWN_BELOW]
        click.echo(report.summary_text(result.roof, result.takeoff, metric=metric, width=width, notices=told))
        for line in _around(result):
            click.echo(line)
    if verbose:
        for stage, seconds in result.seconds.items():
            click.echo(f"{stage:<8} {seconds:7.2f} s", err=True)
    reasons = result.record.not_certified
    if not reasons:
        return Outcome(status=OK)
    outcome = Outcome(status=NOT_CERTIFIED, message="not certified: " + "; ".join(reasons))
    outcome.show()
    return outcome


def show_tape(result: RunResult, *, metric: bool, adjusted: bool, as_json: bool, quiet: bool) -> Outcome:
    """Print how tape measurements stand to the roof."""
    check = result.tape
    if check is None:
        raise AssertionError("a run that was held against a tape keeps what came of it")
    used = sum(one.used and one.verdict == AGREE for one in check.results)
    if as_json:
        click.echo((result.folder / TAPE_FILE).read_text(encoding="utf-8"), nl=False)
    elif not quiet:
        click.echo(report.tape_text(check, metric=metric, width=_width()))
        if used:
            click.echo(f"The roof was adjusted to {used} of them, as corrections that can be undone.")
        elif adjusted:
            click.echo(
                "The roof was not adjusted: no reading of a single edge agrees, or the scale is in doubt."
            )
        click.echo(f"Files: {result.folder}")
    return Outcome(status=OK)


def show_comparison(result: RunResult, *, metric: bool, as_json: bool, quiet: bool) -> Outcome:
    """Print another list beside ours."""
    if result.comparison is None:
        raise AssertionError("a run that another list was held against keeps what came of it")
    if as_json:
        click.echo((result.folder / COMPARE_FILE).read_text(encoding="utf-8"), nl=False)
    elif not quiet:
        click.echo(report.compare_text(result.comparison, metric=metric, width=_width()))
        click.echo(f"Files: {result.folder}")
    return Outcome(status=OK)


def _width() -> int:
    return min(shutil.get_terminal_size((PIPE_WIDTH, 0)).columns, MAX_WIDTH)


def _around(result: RunResult) -> Iterator[str]:
    """What belongs to the run and not to the roof."""
    others = result.record.other_roofs
    if others:
        named = ", ".join(f"{o['id']} (--at {o['at'][0]:.2f} {o['at'][1]:.2f})" for o in others[:MOST_OTHERS])
        more = f" and {len(others) - MOST_OTHERS} more, see run.json" if len(others) > MOST_OTHERS else ""
        yield f"Other roofs, not measured: {named}{more}"
    held = "" if result.seconds else " (held it already: same inputs, options and version)"
    yield f"Files: {result.folder}{held}"


def _as_json(result: RunResult) -> dict[str, Any]:
    """One object for machines; numbers are those of the files."""
    roof = report.roof_json(result.roof)
    return {
        "run": str(result.folder),
        "files": {name: str(result.folder / name) for name in result.record.files},
        "repeated": list(result.seconds),
        "certified": not result.record.not_certified,
        "not_certified": result.record.not_certified,
        "chosen": result.record.chosen,
        "other_roofs": result.record.other_roofs,
        "planes": len(roof["planes"]),
        "totals": roof["totals"],
        "lines": report.takeoff_json(result.takeoff)["lines"],
        "warnings": result.record.warnings,
    }
