"""Start-up time, and time and memory from a LAZ of 200,000 points to the takeoff, on one core.

Run from the repository's root:  python tests/benchmarks/speed.py > tests/benchmarks/speed.md
The house is simulated (tests/simulate): a gable with a cross gable, ground, trees and a neighbour around it.
Every figure is the median of several runs in fresh processes, pinned to one core where the system can.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
N_POINTS = 200_000
GOAL_HELP_S, GOAL_CHAIN_S = 0.3, 3.0
ONE_THREAD = {name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}
CHAIN = "after start-up"
START = "import sys; from slopewright.cli import main; sys.exit(main(['--help']))"


def write_house(path: Path) -> None:
    """A LAZ of exactly N_POINTS points."""
    import laspy
    import numpy as np

    from simulate import airborne, draw_surroundings, shapes

    rng = np.random.default_rng(11)
    roof = shapes.cross_gable(
        length_m=14.0, span_m=9.0, pitch_rad=math.radians(30), wing_span_m=6.0, wing_projection_m=3.0
    )
    cloud = airborne(roof, rng, density=260.0, surroundings=draw_surroundings(roof, rng))
    xyz = np.asarray(cloud.xyz)
    if len(xyz) < N_POINTS:
        raise SystemExit(f"only {len(xyz)} points were simulated, need {N_POINTS}")
    xyz = xyz[np.sort(rng.choice(len(xyz), N_POINTS, replace=False))]
    header = laspy.LasHeader(point_format=3, version="1.2")
    header.scales, header.offsets = [0.001] * 3, np.floor(xyz.min(axis=0))
    las = laspy.LasData(header)
    las.xyz = xyz
    las.write(path)


def measure_once(path: Path) -> None:
    """In a process of its own: seconds of the clock and of the processor by stage, as JSON."""
    spent: dict[str, tuple[float, float]] = {}

    @contextmanager
    def watched(stage: str) -> Iterator[None]:
        clock, processor = time.perf_counter(), time.process_time()
        yield
        spent[stage] = (time.perf_counter() - clock, time.process_time() - processor)

    with watched("imports (start-up)"):
        from slopewright.intent import Options
        from slopewright.run import measure
    with tempfile.TemporaryDirectory() as folder, watched(CHAIN):
        result = measure(path, Path(folder) / "house.run", Options(unit="m"), watched)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": spent, "peak_mb": peak, "planes": len(result.roof.planes)}))


def pinned() -> None:
    """Keep a process on one core, where the system can."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})


def run(*arguments: str) -> tuple[tuple[float, float], str]:
    """Seconds of the clock and of the processor, and output, of a fresh process on one core."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(
        [sys.executable, *arguments],
        env=os.environ | ONE_THREAD,
        preexec_fn=pinned,
        check=True,
        capture_output=True,
        text=True,
    )
    wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return (wall, processor), done.stdout


def table(n_runs: int) -> str:
    """The study as Markdown."""
    starts = [run("-c", START)[0] for _ in range(n_runs)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "house.laz"
        write_house(path)
        runs = [json.loads(run(__file__, "--once", str(path))[1]) for _ in range(n_runs)]
    spent = {name: _median([r["seconds"][name] for r in runs]) for name in runs[0]["seconds"]}
    chain = spent.pop(CHAIN)
    peak = statistics.median(r["peak_mb"] for r in runs)
    lines = [
        "# Speed",
        "",
        f"Printed by `tests/benchmarks/speed.py`: medians of {n_runs} runs in fresh processes, one core,"
        f" Python {platform.python_version()} on {platform.system()} {platform.machine()}.",
        f"The cloud: {N_POINTS:,} points, simulated, LAZ; {runs[0]['planes']} planes found.",
        f"Load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores.  Where it is above"
        " the number of cores, the processor's seconds are the ones to read.",
        "",
        "| what | seconds, clock | seconds, processor | goal |",
        "|---|---:|---:|---:|",
        _row("`slopewright --help`", _median(starts), f"{GOAL_HELP_S}"),
        _row("LAZ to takeoff and files, after start-up", chain, f"{GOAL_CHAIN_S:g}"),
        *(_row(f"… {name}", both, "") for name, both in spent.items()),
        "",
        f"Peak memory: {peak:.0f} MB.",
        "",
        "What the stages do not add up to is digests, reading back and putting the folder in place.",
    ]
    return "\n".join(lines)


def _median(pairs: list[tuple[float, float]]) -> tuple[float, float]:
    return statistics.median(p[0] for p in pairs), statistics.median(p[1] for p in pairs)


def _row(what: str, spent: tuple[float, float], goal: str) -> str:
    return f"| {what} | {spent[0]:.2f} | {spent[1]:.2f} | {goal} |"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--once", type=Path, help="measure this cloud in this process and print JSON")
    given = parser.parse_args()
    sys.path.insert(0, str(ROOT / "tests"))
    if given.once:
        measure_once(given.once)
    else:
        print(table(given.runs))
