"""The whole of a batch: jobs out, rows in, tables and page written when all have ended."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .. import __version__
from ..errors import InputError
from ..runfolder import source_digest
from .cuts import Cut, join_parts, open_survey, plan_cuts, tile_tasks
from .entry import Entry, check_unique
from .gates import Gates
from .isolated import Answer, Terms
from .page import summary_page
from .places import BATCH_FILE, FORMAT, VERSION, Places, json_bytes, write_together
from .roofs_file import read_roofs
from .row import Row
from .spread import answers, cut_all, workers
from .tables import LOOK, PASS, results_csv, results_parquet, times_csv

RESULTS_CSV, RESULTS_PARQUET, TIMES_CSV, PAGE = "results.csv", "results.parquet", "times.csv", "summary.html"


@dataclass(frozen=True, slots=True, kw_only=True)
class MappedSurvey:
    """Tiles of a survey, and the map of the roofs in them."""

    tiles: Path  # folder
    roofs: Path
    unit: str | None = None  # of the tiles, if they do not say


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What a batch is asked to do."""

    entries: tuple[Entry, ...] = ()
    survey: MappedSurvey | None = None  # roofs of a map, in place of entries
    folder: Path
    gates: Gates
    files: str = "all"  # of each run, as in `intent.FILES`
    metric: bool = False
    force: bool = False  # also what is finished
    n_workers: int = 1
    scheduler: str | None = None
    time_limit_s: float = 600.0
    memory_limit_gb: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchResult:
    """All rows in the order of the manifest."""

    folder: Path
    rows: tuple[Row, ...]
    stopped: tuple[tuple[str, ...], ...]  # by row: rules that call for a person's look
    answers: tuple[Answer, ...]

    def counts(self) -> dict[str, Any]:
        """How many of each status, of each gate, and how many each rule stopped."""
        return {
            "roofs": len(self.rows),
            "status": dict(sorted(Counter(str(row.status) for row in self.rows).items())),
            "gate": {PASS: sum(not s for s in self.stopped), LOOK: sum(bool(s) for s in self.stopped)},
            "stopped_by": dict(sorted(Counter(rule for rules in self.stopped for rule in rules).items())),
        }


def run(request: Request, progress: Callable[[Answer], None] = lambda answer: None) -> BatchResult:
    """Measure every roof of a batch and write the results.

    Parameters
    ----------
    request : Request
    progress : callable
        Told of every answer as it comes.

    Returns
    -------
    BatchResult
        What ended badly is a row; what was finished before is not repeated.

    Raises
    ------
    InputError
        If the folder cannot be used, no scheduler answers, or the results cannot be written.  Finished
        jobs stay finished: the same command goes on from there.
    """
    places = Places(request.folder)
    cuts = () if request.survey is None else _plan(request.survey, places)
    entries = (*request.entries, *(cut.entry for cut in cuts))
    check_unique(entries, "the batch")
    with places.held():
        token = uuid.uuid4().hex
        terms = Terms(
            token=token,
            folder=str(places.folder),
            files=request.files,
            metric=request.metric,
            again=request.force,
            time_limit_s=request.time_limit_s,
            memory_limit_gb=request.memory_limit_gb,
        )
        found: dict[str, Answer] = {}
        with workers(request.n_workers, request.scheduler, token) as client:
            lost = _cut(client, cuts, places, terms)
            for row in lost.values():
                found[row.id] = Answer(row=row, held=False)
                progress(found[row.id])
            for answer in answers(client, (entry for entry in entries if entry.id not in lost), terms):
                found[answer.row.id] = answer
                progress(answer)
        ordered = tuple(found[entry.id] for entry in entries)
        rows = tuple(answer.row for answer in ordered)
        stopped = tuple(request.gates.stopped_by(row) for row in rows)
        result = BatchResult(folder=places.folder, rows=rows, stopped=stopped, answers=ordered)
        _write(result, request)
    return result


def _plan(survey: MappedSurvey, places: Places) -> tuple[Cut, ...]:
    return plan_cuts(open_survey(survey.tiles, survey.unit), read_roofs(survey.roofs), survey.unit, places)


def _cut(client: Any, cuts: tuple[Cut, ...], places: Places, terms: Terms) -> dict[str, Row]:
    """Cut what is not cut yet; returns the rows of the roofs that cannot be."""
    if not cuts:
        return {}
    for folder in (places.cuts, places.parts):
        folder.mkdir(exist_ok=True)
    return join_parts(cuts, places, cut_all(client, tile_tasks(cuts, places), terms))


def _write(result: BatchResult, request: Request) -> None:
    rows, stopped, gates = result.rows, result.stopped, request.gates
    about = {
        "format": FORMAT,
        "version": VERSION,
        "slopewright": __version__,
        "source": source_digest(),
        "gates": gates.name,
        "rules": {rule.name: rule.why for rule in gates.rules},
        **result.counts(),
    }
    content = {
        RESULTS_CSV: results_csv(rows, stopped),
        RESULTS_PARQUET: results_parquet(rows, stopped),
        TIMES_CSV: times_csv(result.answers),
        PAGE: summary_page(rows, stopped, gates, metric=request.metric, drawn=request.files == "all"),
        BATCH_FILE: json_bytes(about),
    }
    try:
        write_together({result.folder / name: data for name, data in content.items()})
    except OSError as error:
        raise InputError(
            f"{result.folder}: the results cannot be written ({error.strerror}); make room and give the same"
            " command again, finished roofs are kept"
        ) from error


def paths_of(folder: Path) -> Sequence[Path]:
    """The files that a batch ends with."""
    return [folder / name for name in (PAGE, RESULTS_CSV, RESULTS_PARQUET, TIMES_CSV, BATCH_FILE)]
