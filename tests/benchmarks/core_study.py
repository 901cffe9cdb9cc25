"""How well whole roofs are measured, and whether the bounds hold: the figures that the core must reach.

    python tests/benchmarks/core_study.py --roofs 60 --jsonl rows.jsonl --draw worst > table.md

Every roof is drawn: its kind by turns, all else by its seed.  It stands on a map, in a scene of ground,
trees, neighbours, cars, chimneys and pipes, is scanned with noise that is drawn too, and goes from the raw
cloud through isolate, planes, edges and adjust.  A run that was stopped goes on where --jsonl left off.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from core_scene import as_read, measure, scene
from core_score import Row, failed, scored
from core_table import accuracy, calibration, failures, least_m2, worst, worst_lines

from simulate import KINDS
from simulate.captures import SENSORS
from slopewright.errors import SlopewrightError

Task = tuple[str, str, int, bool]  # sensor, kind, seed, strange


def one(task: Task) -> Row:
    """Measure one roof and hold it against the truth."""
    sensor, kind, seed, strange = task
    truth, sim, drawn = scene(sensor, kind, seed, strange=strange)
    cloud = as_read(sim, seed)
    start = time.perf_counter()
    try:
        roof = measure(truth, cloud)
        found = scored(truth, roof, least_m2(sensor))
    except SlopewrightError as error:
        found = failed(truth, str(error).split(" (read in")[0][:160])
    except Exception as error:  # a crash is a result to count, and must not end the study
        found = failed(truth, f"CRASH {error!r}"[:160])
    seconds = time.perf_counter() - start
    return Row(sensor=sensor, kind=kind, seed=seed, strange=strange, drawn=drawn, seconds=seconds, **found)  # type: ignore[arg-type]


def rows_of(tasks: list[Task], workers: int, path: Path | None) -> list[Row]:
    """A row for each task; those that the file holds are not measured again."""
    held = {_key(row): row for row in _held(path)} if path else {}
    todo = [task for task in tasks if task not in held]
    for row in _measured(todo, workers):
        held[_key(row)] = row
        if path:
            with path.open("a") as file:
                file.write(json.dumps(asdict(row)) + "\n")
    return [held[task] for task in tasks]


def _measured(tasks: list[Task], workers: int) -> Iterator[Row]:
    if workers == 1:
        yield from map(one, tasks)
        return
    with ProcessPoolExecutor(workers) as pool:
        for future in as_completed([pool.submit(one, task) for task in tasks]):
            yield future.result()


def _key(row: Row) -> Task:
    return (row.sensor, row.kind, row.seed, row.strange)


def _held(path: Path) -> Iterator[Row]:
    if path.exists():
        for line in path.read_text().splitlines():
            yield Row(**json.loads(line))


def tasks_of(args: argparse.Namespace) -> list[Task]:
    """Kinds take turns over the seeds, the same for every sensor."""
    kinds = args.kinds
    return [
        (sensor, kinds[seed % len(kinds)], seed, args.strange)
        for sensor in args.classes
        for seed in range(args.first, args.first + args.roofs)
    ]


def draw_worst(rows: list[Row], folder: Path) -> None:
    """Pictures of the worst ten of each class, measured again."""
    from core_draw import draw

    folder.mkdir(parents=True, exist_ok=True)
    for sensor in dict.fromkeys(row.sensor for row in rows):
        for row in worst(r for r in rows if r.sensor == sensor):
            draw(row, folder / f"{row.sensor}_{row.kind}_{row.seed}.png")


def report(rows: list[Row], write: Callable[[str], object]) -> None:
    """The tables as markdown."""
    write("## By capture\n")
    write(accuracy(rows, "sensor"))
    write("\nBounds that hold at 50 / 80 / 95 %, in per cent:\n")
    write(calibration(rows, "sensor"))
    write("\nThe same of the roofs that were certified:\n")
    write(calibration([row for row in rows if not row.not_certified], "sensor"))
    from_above = [row for row in rows if row.sensor != "terrestrial"]  # which shows some of the slopes only
    write("\n## By shape, captures from above\n")
    write(accuracy(from_above, "kind"))
    write("")
    write(calibration(from_above, "kind"))
    write("\n## Not measured\n")
    write(failures(rows))
    write("\n## The worst of each class")
    write(worst_lines(rows))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--roofs", type=int, default=60, help="of each class")
    parser.add_argument("--classes", nargs="+", default=list(SENSORS), choices=list(SENSORS))
    parser.add_argument("--kinds", nargs="+", default=list(KINDS), choices=list(KINDS))
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--strange", action="store_true", help="noise outside of what was said")
    parser.add_argument("--jsonl", type=Path, help="a row per roof, appended; what it holds is not measured")
    parser.add_argument("--draw", type=Path, metavar="DIR", help="pictures of the worst ten of each class")
    args = parser.parse_args()
    rows = rows_of(tasks_of(args), args.workers, args.jsonl)
    report(rows, print)
    if args.draw:
        draw_worst(rows, args.draw)


if __name__ == "__main__":
    main()
