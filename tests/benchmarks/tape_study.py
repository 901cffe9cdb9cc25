"""Are planted errors found by tape, and how often is a right tape called wrong?

    python tests/benchmarks/tape_study.py [--roofs 1500] [--scanned 60] > tests/benchmarks/tape_study.md

First table: true roofs (gable, hip, lean-to, two wings) are measured with errors of scale and corners whose
covariance the check is told; edges are taped with the doubt of their way of taping.  Second table: simulated
scans go the whole way, and the edges that were found are taped at their true lengths; there the roof's own
bounds are on trial too.
"""

import argparse
import os
import sys
from collections import Counter
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
from core_scene import as_read, measure, scene
from orders_study import true_roof

from simulate import KINDS
from slopewright import dispute
from slopewright.checks import AGREE, CONFLICT, TapeReading
from slopewright.dispute.handling import HANDLING, taped_u_m
from slopewright.errors import SlopewrightError
from slopewright.units import FOOT_M, INCH_M
from takeoff.takeoff_roofs import with_corners

STEPS_M = (0.01, INCH_M, INCH_M / 2)
WAYS = ("steel tape", "tape", "laser")
QUALITY = {  # standard uncertainties of corners, each way, and of the scale
    "corners 1.5 cm, scale 0.02 %": (0.015, 2e-4),
    "corners 2.5 cm, scale 0.05 %": (0.025, 5e-4),
    "corners 5 cm, scale 0.1 %": (0.05, 1e-3),
    "corners 10 cm, scale 0.2 %": (0.10, 2e-3),
}
TELLS_SCALE_U = 0.01 / 4.5  # of the common scale: the check then says that it would have found 1 %
SCALE, BLUNDER_M = 0.01, 0.3
SAME_M = 0.4  # ends of a measured edge and of the true edge that it stands for
SENSORS = ("lidar-8", "lidar-25", "drone-600")


def reading(edge_id, true_m, rng, *, factor=1.0, shift=0.0):
    """One reading of a true length, written down to its step."""
    how, step = WAYS[rng.integers(len(WAYS))], STEPS_M[rng.integers(len(STEPS_M))]
    way = HANDLING[how]
    hand = np.hypot(way.end_m * np.sqrt(2), way.share * true_m)
    said = round((true_m * factor + shift + hand * rng.standard_normal()) / step) * step
    return TapeReading(
        where=edge_id, of=edge_id, edges=(edge_id,), stated=f"{said:.3f} m", length_m=said,
        u_m=taped_u_m(said, step, how), how=how,
    )  # fmt: skip


def planted(case, edges, rng):
    """Readings of edges with one planted error; which reading it is, if it is one."""
    wrong = int(rng.integers(len(edges))) if case == "blunder" else None
    factor = 1 + SCALE * rng.choice([-1, 1]) if case == "scale" else 1.0
    shift = BLUNDER_M * rng.choice([-1, 1])
    return [
        reading(name, length, rng, factor=factor, shift=shift if i == wrong else 0.0)
        for i, (name, length) in enumerate(edges)
    ], wrong


def tally(case, check, wrong, counts):
    """Count what was found, what was blamed on another, and what was a false alarm."""
    against = [i for i, one in enumerate(check.results) if one.verdict == CONFLICT]
    counts["lists"] += 1
    counts["readings"] += len(check.results)
    if case == "none":
        counts["list alarmed"] += bool(against) or check.scale_conflict
        counts["reading alarmed"] += len(against)
    elif case == "scale":
        counts["found"] += check.scale_conflict
        if check.scale is not None and check.scale.u <= TELLS_SCALE_U:
            counts["can tell"] += 1
            counts["found of these"] += check.scale_conflict
    else:
        counts["found"] += wrong in against
        counts["called agreement"] += check.results[wrong].verdict == AGREE
        counts["others alarmed"] += len([i for i in against if i != wrong])
        counts["as scale"] += check.scale_conflict


HEAD_TEXT = """# Tape measurements: what is found, what is a false alarm

`python tests/benchmarks/tape_study.py --roofs {roofs} --scanned {scanned}`: 4 to 8 edges a list, taped by
steel tape, tape or laser and written to a centimetre, an inch or half an inch. A list can tell of the scale
where the check itself says that 1 % would show in it (standard uncertainty of the common scale below 0.22 %).
`called agreement`: of readings wrong by 0.3 m; the others are in conflict or "cannot tell". `others blamed`:
right readings called a conflict in lists with one that is wrong.
"""
HEAD = (
    "right lists alarmed", "right readings alarmed", "1 % scale found", "of lists that can tell (share)",
    "0.3 m found", "called agreement", "others blamed",
)  # fmt: skip


def heading(*first):
    """Head of a table."""
    names = (*first, *HEAD)
    print(f"| {' | '.join(names)} |")
    print("|---" * len(names) + "|")


def told(roofs):
    """First table."""
    heading("roof")
    for name, (corner_u_m, scale_u) in QUALITY.items():
        found = {case: Counter() for case in ("none", "scale", "blunder")}
        for seed in range(roofs):
            for case, counts in found.items():
                rng = np.random.default_rng([seed, len(case)])
                truth = true_roof(rng)
                corners = truth.vertices * (1 + scale_u * rng.standard_normal())
                corners = corners + corner_u_m * rng.standard_normal(corners.shape)
                roof = with_corners(truth, corners / FOOT_M, scale_u=scale_u, corner_u_m=corner_u_m)
                n = min(len(truth.edges), int(rng.integers(4, 9)))
                taped = sorted(rng.choice(len(truth.edges), n, replace=False).tolist())
                edges = [(truth.edges[i].id, truth.edges[i].length.value) for i in taped]
                readings, wrong = planted(case, edges, rng)
                tally(case, dispute.check_tape(roof, readings), wrong, counts)
        print(row(name, found))


def row(name, found):
    """One row of either table."""
    none, scale, blunder = found["none"], found["scale"], found["blunder"]
    share = scale["found of these"] / max(scale["can tell"], 1)
    able = f"{share:.1%} ({scale['can tell'] / scale['lists']:.0%})"
    cells = [
        f"{none['list alarmed'] / none['lists']:.1%}",
        f"{none['reading alarmed'] / none['readings']:.1%}",
        f"{scale['found'] / scale['lists']:.1%}",
        able,
        f"{blunder['found'] / blunder['lists']:.1%}",
        f"{blunder['called agreement'] / blunder['lists']:.1%}",
        f"{blunder['others alarmed'] / (blunder['readings'] - blunder['lists']):.1%}",
    ]
    return f"| {name} | " + " | ".join(cells) + " |"


def scanned(roofs):
    """Second table."""
    heading("scan", "roofs")
    for sensor in SENSORS:
        found = {case: Counter() for case in ("none", "scale", "blunder")}
        done = 0
        for seed in range(roofs):
            kind = sorted(KINDS)[seed % len(KINDS)]
            truth, sim, _ = scene(sensor, kind, 9000 + seed)
            try:
                roof = measure(truth, as_read(sim, 9000 + seed))
            except SlopewrightError:
                continue
            edges = paired(truth, roof)
            if len(edges) < 4:
                continue
            done += 1
            for case, counts in found.items():
                rng = np.random.default_rng([seed, len(case), 5])
                taped = sorted(
                    rng.choice(len(edges), min(len(edges), int(rng.integers(4, 9))), replace=False)
                )
                readings, wrong = planted(case, [edges[i] for i in taped], rng)
                tally(case, dispute.check_tape(roof, readings), wrong, counts)
        name, *cells = row(sensor, found).strip("| ").split(" | ")
        print(f"| {name} | {done} | " + " | ".join(cells) + " |")


def paired(truth, roof):
    """Measured edges that stand for one true edge, with its length."""
    found = []
    for edge in roof.edges:
        ends = roof.vertices[[edge.start, edge.end]] + roof.frame.origin
        for true in truth.edges:
            for a, b in ((true.start, true.end), (true.end, true.start)):
                if (
                    max(np.linalg.norm(ends[0] - a), np.linalg.norm(ends[1] - b)) < SAME_M
                    and edge.kind == true.kind
                ):
                    found.append((edge.id, true.length_m))
                    break
            else:
                continue
            break
    return found


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--roofs", type=int, default=1500)
    parser.add_argument("--scanned", type=int, default=60)
    args = parser.parse_args()
    print(HEAD_TEXT.format(roofs=args.roofs, scanned=args.scanned))
    print(f"## Roofs whose bounds are right ({args.roofs} a cell)\n")
    told(args.roofs)
    print("\n## The whole way from simulated scans\n")
    print("Here the roof's own errors count: where its bounds do not hold, a right reading contradicts it.\n")
    scanned(args.scanned)


if __name__ == "__main__":
    main()
