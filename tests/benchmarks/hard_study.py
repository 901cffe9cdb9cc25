"""What becomes of clouds that something is wrong with: measured, flagged, refused, or a tidy wrong model.

Run from the repository's root:  python tests/benchmarks/hard_study.py --roofs 12 > hard_study.md
Every cloud is written to a file and goes the whole way of `slopewright measure`.  A tidy wrong model is
status 0 without a flag where the total area misses its bounds by more than 1 %, or a face of 4 m² is missed
or made up; a shape that has no planes is one wherever it ends with status 0 and no flag.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import laspy
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from simulate import (
    TrueRoof,
    airborne,
    compare_roof,
    draw_surroundings,
    mirror,
    photogrammetry,
    random_roof,
    spoiled,
)
from simulate.sim_cloud import SimCloud
from simulate.surroundings import Surroundings
from slopewright.cli.outcome import of_exception
from slopewright.intent import Options
from slopewright.roof import Roof
from slopewright.run import measure

KINDS = ("gable", "hip", "cross_gable", "two_level", "shed", "gable_dormer", "half_hip", "mansard")
CAPTURES = ("lidar 8", "lidar 25", "drone 200")
PLAIN = frozenset(  # notices of sound clouds too
    {
        "other_roofs",
        "grid_scale",
        "coarse_coordinates",
        "no_ground",
        "hidden_strip",
        "edge_inferred",
        "edges_moved_in",
    }
)
SOME_M2 = 4.0  # a face of this size is worth telling
SOME = 0.01  # of the area


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One cloud and what became of it."""

    case: str
    capture: str
    seed: int
    kind: str = ""
    status: int = 0
    message: str = ""
    flags: tuple[str, ...] = ()
    area_error: float = np.nan
    area_half: float = np.nan
    area_holds: bool = False
    pitches_hold: float = np.nan  # share of the matched faces
    lengths_hold: float = np.nan  # share of the kinds of edges
    missed: int = 0  # faces of SOME_M2 and more
    false: int = 0
    seconds: float = np.nan

    @property
    def is_wrong(self) -> bool:
        """Measured, and not what is there."""
        if self.status not in (0, 3) or not np.isfinite(self.area_half):
            return False
        outside = abs(self.area_error) - self.area_half
        return bool(not np.isfinite(self.area_error) or outside > SOME or self.missed or self.false)

    @property
    def is_tidy_wrong(self) -> bool:
        """Wrong, and nothing said."""
        return self.is_wrong and self.status == 0 and not set(self.flags) - PLAIN


def scene(case: str, capture: str, seed: int) -> tuple[TrueRoof | None, str, np.ndarray]:
    """The true roof, if there is one, its kind, and the points of a spoiled cloud."""
    rng = np.random.default_rng([seed, *case.encode()])
    density = float(capture.split()[1])
    if case in spoiled.SHAPES:
        return None, case, spoiled.SHAPES[case](rng, density)
    if case in ("flat", "parapet", "flat_cropped"):
        kind, roof = case, spoiled.flat_roof(rng)
    else:
        kind = str(rng.choice(KINDS))
        roof = random_roof(kind, rng)
    around = spoiled.under_trees(roof, rng) if case == "trees" else draw_surroundings(roof, rng)
    sim = sense(roof, capture, rng, around)
    how = {"flat": "unspoiled", "trees": "unspoiled", "flat_cropped": "cropped"}.get(case, case)
    xyz = spoiled.parapet(roof, sim, rng) if case == "parapet" else spoiled.SPOILERS[how](roof, sim, rng)
    return roof, kind, xyz


def sense(roof: TrueRoof, capture: str, rng: np.random.Generator, around: Surroundings) -> SimCloud:
    """Points of a scene, as the capture has them."""
    what, density = capture.split()
    if what == "drone":
        return photogrammetry(roof, rng, density=float(density), surroundings=around)
    noise_m = 0.03 if float(density) > 10 else 0.05
    return airborne(roof, rng, density=float(density), noise_m=noise_m, surroundings=around)


def write_las(path: Path, xyz: np.ndarray) -> None:
    """A cloud without any word on units, returns or strips."""
    header = laspy.LasHeader(point_format=3, version="1.2")
    header.scales = [0.001] * 3
    header.offsets = np.floor(np.median(xyz, axis=0))
    las = laspy.LasData(header)
    las.xyz = xyz
    las.write(path)


def one(case: str, capture: str, seed: int, folder: Path) -> Row:
    """Spoil one cloud, measure it, hold it against the truth."""
    truth, kind, xyz = scene(case, capture, seed)
    path = folder / f"{case}.las"
    write_las(path, xyz)
    at = None if truth is None or case in ("z_down", "y_up") else inside(case, truth, xyz)
    unit = "ft" if case == "in_metres" else "m"
    start = time.perf_counter()
    row = {"case": case, "capture": capture, "seed": seed, "kind": kind}
    try:
        result = measure(path, folder / "run", Options(unit=unit, at=at, force=True))
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt):
            raise
        outcome = of_exception(error, [])
        return Row(**row, status=outcome.status, message=outcome.message, seconds=time.perf_counter() - start)
    seconds = time.perf_counter() - start
    roof, reasons = result.roof, result.record.not_certified
    return Row(
        **row,
        status=3 if reasons else 0,
        message="; ".join(reasons),
        flags=tuple(sorted({n.code for n in roof.notices})),
        area_half=roof.area.half_width / roof.area.value,
        seconds=seconds,
        **({} if truth is None else against(roof, truth, case)),
    )


def inside(case: str, truth: TrueRoof, xyz: np.ndarray) -> tuple[float, float]:
    """The point of the spoiled cloud that is nearest to the roof's middle."""
    middle = np.array([[*truth.footprint.representative_point().coords[0], 0.0]])
    if case in ("mirrored", "in_feet", "in_metres"):
        spot = SimCloud(xyz=middle, label=np.zeros(1, np.int32), strip=np.zeros(1, np.uint8))
        middle = spoiled.SPOILERS[case](truth, spot, np.random.default_rng(0))
    nearest = xyz[np.hypot(*(xyz[:, :2] - middle[0, :2]).T).argmin()]
    per_m = 1 / 0.3048 if case == "in_metres" else 1.0
    return float(nearest[0] * per_m), float(nearest[1] * per_m)


def against(roof: Roof, truth: TrueRoof, case: str) -> dict[str, object]:
    """Errors and whether bounds hold."""
    truth = mirror(truth) if case == "mirrored" else truth
    result = compare_roof(roof, truth)
    area = result.bound("area")
    pitches = [b.holds for b in result.bounds if b.name.startswith("pitch")]
    lengths = [b.holds for b in result.bounds if b.name.startswith("edges:")]
    false = [p for p in roof.planes if p.id in result.false and p.area.value >= SOME_M2]
    return {
        "area_error": result.area_error,
        "area_holds": area.holds,
        "pitches_hold": float(np.mean(pitches or [np.nan])),
        "lengths_hold": float(np.mean(lengths or [np.nan])),
        "missed": sum(truth.planes[k].area_m2 >= SOME_M2 for k in result.missed),
        "false": len(false),
    }


def table(rows: Iterable[Row]) -> str:
    """A markdown table, a line a case."""
    lines = [
        "| case | n | status 0 / 3 / 2 / 1 | tidy wrong | area in bounds | pitches | lengths | ± % | s"
        " | flags |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    groups: dict[str, list[Row]] = {}
    for row in rows:
        groups.setdefault(row.case, []).append(row)
    for case, group in groups.items():
        count = Counter(row.status for row in group)
        measured = [row for row in group if np.isfinite(row.area_error)]
        flags = Counter(flag for row in group for flag in row.flags)
        said = ", ".join(f"{code} {n}" for code, n in flags.most_common(6))
        lines.append(
            f"| {case} | {len(group)} | {count[0]} / {count[3]} / {count[2]} / {count[1]}"
            f" | {sum(row.is_tidy_wrong for row in group)}"
            f" | {sum(row.area_holds for row in measured)} of {len(measured)}"
            f" | {_percent([row.pitches_hold for row in measured])}"
            f" | {_percent([row.lengths_hold for row in measured])}"
            f" | {_median([100 * row.area_half for row in group])}"
            f" | {_median([row.seconds for row in group])} | {said} |"
        )
    return "\n".join(lines)


def _percent(shares: Sequence[float]) -> str:
    known = [share for share in shares if np.isfinite(share)]
    return f"{100 * np.mean(known):.0f} %" if known else ""


def _median(values: Sequence[float]) -> str:
    known = [value for value in values if np.isfinite(value)]
    return f"{np.median(known):.1f}" if known else ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--roofs", type=int, default=6, help="of each case, spread over the captures")
    parser.add_argument("--cases", nargs="+", default=[*spoiled.NAMES, "flat_cropped"])
    parser.add_argument("--captures", nargs="+", default=list(CAPTURES))
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--jsonl", type=Path, help="a line a cloud, as it is done")
    args = parser.parse_args()
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for case in args.cases:
            for seed in range(args.first, args.first + args.roofs):
                capture = args.captures[seed % len(args.captures)]
                rows.append(one(case, capture, seed, Path(folder)))
                if args.jsonl:
                    with args.jsonl.open("a") as file:
                        file.write(
                            json.dumps(asdict(rows[-1]) | {"tidy_wrong": rows[-1].is_tidy_wrong}) + "\n"
                        )
    print(table(rows), "\n")
    for row in rows:
        if row.is_tidy_wrong or row.status == 1:
            print(
                f"- {row.case} {row.capture} {row.seed} ({row.kind}): status {row.status} {row.message},"
                f" area {100 * row.area_error:+.1f} ± {100 * row.area_half:.1f} %,"
                f" {row.missed} faces missed, {row.false} made up"
            )


if __name__ == "__main__":
    main()
