# ruff: noqa: E501  (sentences of the printed page)
"""What a batch of lidar roofs costs: by its size, by its workers, and what a kill makes it do again.

Run from the repository's root:  python tests/benchmarks/batch_study.py > tests/benchmarks/batch_study.md
Roofs are simulated (tests/simulate): gables and cross gables at the density of a national survey, thinned to
2,000 points with the ground around them.  Every row is a batch in a folder of its own, by the command line.
"""

import argparse
import csv
import math
import os
import platform
import resource
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "batch")]

import numpy as np  # noqa: E402
from batch_jobs import content, kill, run, start, wait_for_rows, write_laz  # noqa: E402

N_POINTS, N_SHAPES = 2_000, 20
GOAL_PER_CORE = 10.0  # roofs a second and core, without drawings
CLUSTER = 100  # workers, of the model


def write_roofs(folder):
    """Clouds of different roofs."""
    from simulate import airborne, draw_surroundings, shapes

    paths = []
    for k in range(N_SHAPES):
        rng = np.random.default_rng([9, k])
        size = {
            "length_m": rng.uniform(11, 16),
            "span_m": rng.uniform(8, 10),
            "pitch_rad": math.radians(rng.uniform(20, 38)),
        }
        wing = {"wing_span_m": 5.0, "wing_projection_m": 3.0}
        roof = shapes.cross_gable(**size, **wing) if k % 2 else shapes.gable(**size)
        cloud = airborne(roof, rng, density=8.0, surroundings=draw_surroundings(roof, rng))
        xyz = np.asarray(cloud.xyz)
        west, south, east, north = roof.footprint.bounds
        middle = np.array([west + east, south + north]) / 2
        near = np.sort(np.argsort(np.abs(xyz[:, :2] - middle).max(axis=1))[:N_POINTS])
        paths.append(write_laz(folder / f"{k:02d}.laz", xyz[near]))
    return paths


def manifest(folder, paths, n):
    lines = ["id,input,unit", *(f"{k:05d},{paths[k % len(paths)]},m" for k in range(n))]
    path = folder / f"m{n}.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


def timed(*words):
    """Seconds of the clock and of the processor of a batch and all below it."""
    before, begin = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = run(*words)
    clock, after = time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in (0, 3):
        raise SystemExit(done.stderr)
    return clock, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def times(out):
    with (out / "times.csv").open(newline="") as stream:
        return list(csv.DictReader(stream))


def row(folder, paths, n, workers, files, keep=False):
    out = folder / f"out-{n}-{workers}-{files}"
    clock, processor = timed(
        manifest(folder, paths, n), "--out", out, "--workers", workers, "--files", files, "-q"
    )
    taken = times(out)
    peak = max(float(t["peak_mb"]) for t in taken)
    kilobytes = sum(p.stat().st_size for p in (out / "runs").rglob("*") if p.is_file()) / n / 1000
    print(f"done: {n} roofs, {workers} workers, {files}: {clock:.1f} s", file=sys.stderr, flush=True)
    if not keep:
        shutil.rmtree(out)
    return {
        "n": n,
        "workers": workers,
        "files": files,
        "clock": clock,
        "processor": processor,
        "peak": peak,
        "kb": kilobytes,
    }


def resumed(folder, paths, n, workers):
    """A batch killed half-way and given again: what it did twice, and whether it ended as the other did."""
    path, out = manifest(folder, paths, n), folder / "out-killed"
    words = (path, "--out", out, "--workers", workers, "--files", "roof", "-q")
    process = start(*words)
    wait_for_rows(out, n // 2, process, patience_s=3600)
    kill(process)
    finished = len(list(out.glob("rows/*.json")))
    timed(*words)
    held = sum(t["held"] == "yes" for t in times(out))
    same = content(out) == content(folder / f"out-{n}-1-roof")
    idle = timed(*words)  # all is done: what is left is asking, looking and writing the tables
    return {"finished": finished, "held": held, "same": same, "idle": idle[1]}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=[30, 100, 1000])
    parser.add_argument(
        "--scratch", type=Path, help="folder for the clouds and batches, if not a temporary one"
    )
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.scratch) as name:
        folder = Path(name)
        paths = write_roofs(folder)
        sizes, most = given.sizes, given.sizes[-1]
        load = [os.getloadavg()[0]]
        rows = [row(folder, paths, n, 1, "roof", keep=n == most) for n in sizes]
        rows += [row(folder, paths, sizes[1], 2, "roof"), row(folder, paths, sizes[0], 1, "all")]
        again = resumed(folder, paths, most, 2)
        load.append(os.getloadavg()[0])
    print(table(rows, again, load, most))


def table(rows, again, load, most):
    alone = [r for r in rows if r["files"] == "roof" and r["workers"] == 1]
    n, processor = (np.array([r[key] for r in alone]) for key in ("n", "processor"))
    slope, fixed = np.polyfit(n, processor, 1)
    idle = max(again["idle"] - fixed, 0.0) / most
    kept = "yes" if again["same"] else "NO"
    lines = [
        "# Batches",
        "",
        f"Printed by `tests/benchmarks/batch_study.py`: roofs of {N_POINTS:,} points, Python"
        f" {platform.python_version()} on {platform.system()} {platform.machine()}, {os.cpu_count()} cores.  Load"
        f" {statistics.mean(load):.1f} from other work: the clock says little, the processor's seconds are the"
        " ones to read, and where cores are shared by two threads they are up to twice those of a quiet machine.",
        "",
        "| roofs | workers | files | seconds, clock | seconds, processor | processor, a roof | a second and core"
        " | peak of a job, MB | kB a run |",
        "|---:|---:|---|---:|---:|---:|---:|---:|---:|",
    ]
    for r in rows:
        net = (r["processor"] - fixed) / r["n"]
        measured = f"{r['clock']:.1f} | {r['processor']:.1f} | {net:.3f} | {1 / net:.1f}"
        size = f"{r['peak']:.0f} | {r['kb']:.0f}"
        lines.append(f"| {r['n']:,} | {r['workers']} | {r['files']} | {measured} | {size} |")
    lines += [
        "",
        f"A batch takes {fixed:.1f} s of the processor to start and end, and {slope:.3f} s a roof: a straight line"
        " through the batches of one worker.  The columns by roof are without the start.  Goal:"
        f" {GOAL_PER_CORE:g} a second and core without drawings.",
        "",
        f"Killed (SIGKILL) half-way through {most:,} roofs with two workers: {again['finished']:,} had ended and"
        f" {again['held']:,} of them were kept, so that {again['finished'] - again['held']} and the two in hand"
        f" were done again ({100 * (again['finished'] - again['held'] + 2) / most:.1f} % of the work).  The same"
        f" bytes as the batch that was not killed: {kept}.",
        "",
        f"A roof that is already done costs {idle * 1000:.0f} ms of the processor: scheduler, client, and the look at"
        f" its input and its files, the last two of which the workers do.  Were all of it the scheduler's, it would"
        f" feed {1 / idle:.0f} roofs a second, so {slope / idle:.0f} workers at {slope:.3f} s a roof at the least;"
        f" {CLUSTER} workers do {CLUSTER / slope:.0f} roofs a second by the line above.",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    main()
