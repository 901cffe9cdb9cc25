"""How well whole roofs are measured, by kind of capture and of roof, on simulated scenes with exact truth.

Run from the repository's root:  python tests/benchmarks/chain_study.py --roofs 40 > table.md
Every scene holds ground, trees, a neighbour, a car, a chimney and pipes; the way goes from the raw cloud
through isolate, planes, edges and adjust.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from simulate import (
    TrueRoof,
    airborne,
    cloud_of,
    compare_roof,
    draw_surroundings,
    photogrammetry,
    random_roof,
)
from slopewright import adjust, edges, isolate, planes
from slopewright.errors import SlopewrightError
from slopewright.roof import Frame, Roof
from slopewright.scene import Cloud

SPINE = ("gable", "hip", "shed", "cross_gable", "two_level")
CAPTURES = ("lidar 8", "lidar 25", "drone 300")
BIG_FACE_M2 = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One roof."""

    capture: str
    kind: str
    seed: int
    failure: str = ""
    area_error: float = np.nan
    area_half: float = np.nan
    area_holds: bool = False
    missed: int = 0
    false: int = 0
    edge_f1: float = np.nan
    pitch_errors_deg: tuple[float, ...] = ()  # faces of BIG_FACE_M2 and more
    pitch_holds: tuple[bool, ...] = ()
    length_holds: tuple[bool, ...] = ()
    seconds: float = np.nan


def scene(capture: str, kind: str, seed: int) -> tuple[TrueRoof, Cloud]:
    """A drawn roof and the points of its scene; the same seed is the same roof for every capture."""
    truth = random_roof(kind, np.random.default_rng([seed, 1]))
    around = draw_surroundings(truth, np.random.default_rng([seed, 2]))
    rng = np.random.default_rng([seed, 3])
    what, density = capture.split()
    if what == "drone":
        cloud = photogrammetry(truth, rng, density=float(density), surroundings=around)
    else:
        noise_m = 0.03 if float(density) > 10 else 0.05
        cloud = airborne(truth, rng, density=float(density), noise_m=noise_m, surroundings=around)
    return truth, cloud_of(cloud)


def measure(truth: TrueRoof, cloud: Cloud) -> Roof:
    """From the raw cloud to the roof."""
    middle = truth.footprint.centroid
    found = isolate.run(cloud, at=(middle.x, middle.y))
    points = found.roofs[found.chosen]
    segmentation = planes.run(points)
    topology = edges.run(points, segmentation)
    frame = Frame(origin=cloud.origin, ground_z_m=points.ground_z_m)
    return adjust.run(points, segmentation, topology, frame)


def one(task: tuple[str, str, int]) -> Row:
    """Measure one roof and hold it against the truth."""
    capture, kind, seed = task
    truth, cloud = scene(capture, kind, seed)
    start = time.perf_counter()
    try:
        roof = measure(truth, cloud)
    except SlopewrightError as error:
        return Row(capture=capture, kind=kind, seed=seed, failure=str(error)[:120])
    except Exception as error:
        return Row(capture=capture, kind=kind, seed=seed, failure=f"CRASH {error!r}"[:120])
    seconds = time.perf_counter() - start
    result = compare_roof(roof, truth)
    big = [f for f in result.faces if truth.planes[f.true].area_m2 >= BIG_FACE_M2]
    return Row(
        capture=capture,
        kind=kind,
        seed=seed,
        area_error=result.area_error,
        area_half=roof.area.half_width / roof.area.value,
        area_holds=result.bound("area").holds,
        missed=len([k for k in result.missed if truth.planes[k].area_m2 >= 2]),
        false=len(result.false),
        edge_f1=result.edge_f1,
        pitch_errors_deg=tuple(float(np.rad2deg(f.pitch_rad)) for f in big),
        pitch_holds=tuple(result.bound(f"pitch_deg:{f.true}").holds for f in big),
        length_holds=tuple(b.holds for b in result.bounds if b.name.startswith("edges:")),
        seconds=seconds,
    )


def table(rows: Iterable[Row], by: str) -> str:
    """A markdown table with a line for each value of an attribute."""
    lines = [
        f"| {by} | roofs | failed | all faces right | area error median / 95th / bias % | bound ± %"
        " | area in bound % | edge F1 mean / 10th | pitch 95th ° | pitch in bound % | lengths in bound %"
        " | seconds median |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    groups: dict[str, list[Row]] = {}
    for row in rows:
        groups.setdefault(getattr(row, by), []).append(row)
    for name, group in groups.items():
        good = [r for r in group if not r.failure]
        if not good:
            lines.append(f"| {name} | {len(group)} | {len(group)} | | | | | | | | | |")
            continue
        error = np.array([r.area_error for r in good]) * 100
        f1 = np.array([r.edge_f1 for r in good])
        pitch = np.abs([e for r in good for e in r.pitch_errors_deg])
        off = np.abs(error)
        whole = sum(r.missed == 0 and r.false == 0 for r in good)
        lines.append(
            f"| {name} | {len(group)} | {len(group) - len(good)} | {100 * whole / len(group):.0f} %"
            f" | {np.median(off):.2f} / {np.quantile(off, 0.95):.2f} / {error.mean():+.2f}"
            f" | {100 * np.mean([r.area_half for r in good]):.2f}"
            f" | {100 * np.mean([r.area_holds for r in good]):.0f}"
            f" | {f1.mean():.3f} / {np.quantile(f1, 0.1):.3f}"
            f" | {np.quantile(pitch, 0.95) if len(pitch) else np.nan:.2f}"
            f" | {100 * np.mean([h for r in good for h in r.pitch_holds] or [np.nan]):.0f}"
            f" | {100 * np.mean([h for r in good for h in r.length_holds] or [np.nan]):.0f}"
            f" | {np.median([r.seconds for r in good]):.2f} |"
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--roofs", type=int, default=40, help="of each kind for each capture")
    parser.add_argument("--kinds", nargs="+", default=list(SPINE))
    parser.add_argument("--captures", nargs="+", default=list(CAPTURES))
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    tasks = [
        (capture, kind, seed)
        for capture in args.captures
        for kind in args.kinds
        for seed in range(args.first, args.first + args.roofs)
    ]
    if args.workers > 1:
        with ProcessPoolExecutor(args.workers) as pool:
            rows = list(pool.map(one, tasks, chunksize=2))
    else:
        rows = [one(task) for task in tasks]
    print(table(rows, "capture"), "\n")
    print(table(rows, "kind"), "\n")
    failures = Counter(r.failure for r in rows if r.failure)
    for text, count in failures.most_common():
        print(f"- {count} x {text}")
    worst = sorted(rows, key=lambda r: -(10 if r.failure else r.missed + r.false + abs(r.area_error) * 20))
    print("\nWorst: " + "; ".join(f"{r.capture} {r.kind} {r.seed}" for r in worst[:20]))


if __name__ == "__main__":
    main()
