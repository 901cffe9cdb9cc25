"""Is the mistake in another party's list named first?  Lists with one planted mistake.

    python tests/benchmarks/compare_study.py [--roofs 120] > tests/benchmarks/compare_study.md

A true roof is measured with an error of scale and errors of its corners, whose covariance is known, and taken
off.  The other party's list is made from the true roof, line by line, with 1 % of doubt of their own, rounded
to a tenth of a square and to a foot, with one mistake that is large enough to matter.
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

from simulate import KINDS, as_measured, random_roof
from slopewright import dispute
from slopewright.checks import Theirs
from slopewright.units import FOOT_M, INCH_M, SQUARE_M2
from takeoff.takeoff_roofs import build_roof, take

HEAD = """# Another party's list: is the planted mistake named first?

`python tests/benchmarks/compare_study.py --roofs {roofs}`: simulated roofs of {kinds} kinds, each
measured with corners known to 1 to 4 cm; lists of 4 to 15 lines with 1 % of doubt of their own, areas to 0.1
square, lengths to a foot. A face that is missed or counted twice has 5 % of the area or more, an edge 2 m or
more; the very face or edge must be among those that are named as looking alike. A starter in the field has no
line of its own: that is 4 to 6 % of the area, which a list may as well have as honest waste.
"""
CASES = (
    "none", "missed_face", "counted_twice", "plan_for_slope", "waste_percentage", "starter_in_field",
    "ridge_with_hip", "wrong_pitch", "scale", "missed_edge",
)  # fmt: skip
OWN_SHARE = 0.01
AREAS = ("roof area", "shingles off, first layer", "felt off", "field shingles")
KIND_LINES = ("eave", "rake", "ridge", "hip", "valley", "sidewall", "headwall")
SUMS = {"starter": ("eave", "rake"), "hip and ridge caps": ("ridge", "hip"), "drip edge at eaves": ("eave",)}
LISTED = 0.8  # chance that a line is on the list at all


def measured(truth, rng):
    """The true roof as a survey has it."""
    exact = as_measured(truth)
    scale_u, corner_u_m = rng.uniform(2e-4, 2e-3), rng.uniform(0.01, 0.04)
    corners = exact.vertices * (1 + scale_u * rng.standard_normal())
    corners = corners + corner_u_m * rng.standard_normal(corners.shape)
    faces = {plane.id: list(plane.loops[0]) for plane in exact.planes}
    edges = [(str(edge.kind), edge.start, edge.end, edge.planes) for edge in exact.edges]
    told = {"scale_u": scale_u, "corner_u_m": corner_u_m}
    return exact, build_roof([tuple(corner) for corner in corners / FOOT_M], faces, edges, **told)


def true_list(exact, case, rng):
    """The other list in trade units, and what must be named; None where the roof offers no such mistake."""
    area = {p.id: p.area.value for p in exact.planes}
    plan = {p.id: p.plan_area.value for p in exact.planes}
    length = {e.id: e.length.value for e in exact.edges}
    whole = sum(area.values())
    about = ()
    if case in ("missed_face", "counted_twice"):
        large = [name for name, value in area.items() if 0.05 * whole < value]
        if len(area) < 2 or not large:
            return None
        name = large[rng.integers(len(large))]
        factor, about = (0.0 if case == "missed_face" else 2.0), (name,)
        area[name] *= factor
        for edge in exact.edges:
            if edge.planes == (name,):
                length[edge.id] *= factor
    elif case == "plan_for_slope":
        if whole / sum(plan.values()) < 1.05:
            return None
        area = plan
    elif case == "wrong_pitch":
        rises = [p.rise_in_12.value for p in exact.planes]
        choice = [p for p in (3, 4, 5, 6, 7, 8, 9, 10, 12) if min(abs(p - r) for r in rises) > 2]
        if not choice:
            return None
        rise = choice[rng.integers(len(choice))]
        area = {name: value * np.hypot(1, rise / 12) for name, value in plan.items()}
        for edge in exact.edges:
            run = exact.vertices[edge.end] - exact.vertices[edge.start]
            mean = np.mean([p.rise_in_12.value for p in exact.planes if p.id in edge.planes])
            length[edge.id] = np.hypot(np.hypot(*run[:2]), run[2] * rise / max(mean, 1e-9))
    elif case == "scale":
        factor = 1 + rng.uniform(0.025, 0.05) * rng.choice([-1, 1])
        area = {name: value * factor**2 for name, value in area.items()}
        length = {name: value * factor for name, value in length.items()}
    elif case == "missed_edge":
        large = [e for e in exact.edges if e.length.value > 2.0]
        edge = large[rng.integers(len(large))]
        length[edge.id], about = 0.0, (edge.id,)
    kinds = {str(e.kind) for e in exact.edges}
    by_kind = {
        kind: sum(length[e.id] for e in exact.edges if e.kind == kind) / FOOT_M
        for kind in KIND_LINES
        if kind in kinds
    }
    total = sum(area.values()) / SQUARE_M2
    lines = dict.fromkeys(AREAS, total) | by_kind
    for name, parts in SUMS.items():
        if any(part in by_kind for part in parts):
            lines[name] = sum(by_kind.get(part, 0.0) for part in parts)
    lines["field shingles"] *= 1 + rng.choice([0.0, rng.uniform(0.05, 0.10)])
    if case == "waste_percentage":
        share = rng.choice([0.08, 0.10, 0.12, 0.15, 0.20])
        for name in AREAS:
            lines[name] = total * (1 + share)
    elif case == "starter_in_field":
        course = (by_kind.get("eave", 0.0) + by_kind.get("rake", 0.0)) * 5.625 / 12 / 100
        if course < 0.03 * total:
            return None
        lines["field shingles"] = total + course
        lines.pop("starter", None)
    elif case == "ridge_with_hip":
        if not {"ridge", "hip"} <= kinds or min(by_kind["ridge"], by_kind["hip"]) < 5:
            return None
        lines["ridge"] += by_kind["hip"]
        if rng.random() < 0.5:
            lines["hip"] = 0.0
    needed = {"starter_in_field": "field shingles", "ridge_with_hip": "ridge"}.get(case)
    touched = [e.kind for e in exact.edges if e.id in about]
    kept = {n: v for n, v in lines.items() if rng.random() < LISTED or n in (needed, *touched, "roof area")}
    return kept, about


def listed(lines, ours, rng):
    """The list as it is written down."""
    found = []
    for n, (name, value) in enumerate(lines.items(), start=2):
        if name not in ours:
            continue
        unit = ours[name].unit
        step = 0.1 if unit == "sq" else 1.0
        said = round(value * (1 + OWN_SHARE * rng.standard_normal()) / step) * step
        found.append(
            Theirs(
                where=f"line {n}",
                item=name,
                ours=name,
                unit=unit,
                quantity=max(said, 0.0),
                step=step,
                in_packages=False,
            )
        )
    return found


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--roofs", type=int, default=120)
    parser.add_argument("-v", action="store_true")
    args = parser.parse_args()
    first, second, number, odds = Counter(), Counter(), Counter(), Counter()
    inside = Counter()
    for seed in range(args.roofs):
        rng = np.random.default_rng([seed, 77])
        kind = sorted(KINDS)[seed % len(KINDS)]
        truth = random_roof(kind, rng)
        if any(len(plane.holes) for plane in truth.planes):
            continue
        exact, roof = measured(truth, rng)
        ours = dispute.our_quantities(roof, take(roof))
        for case in CASES:
            made = true_list(exact, case, np.random.default_rng([seed, CASES.index(case)]))
            if made is None:
                continue
            lines, about = made
            theirs = listed(lines, ours, rng)
            result = dispute.compare(roof, theirs, ours, exposure_m=5.625 * INCH_M)
            named = [(c.kind, c.about) for c in result.causes]
            number[case] += 1
            right = [i for i, (k, a) in enumerate(named) if k == case and set(about) <= set(a)]
            first[case] += right[:1] == [0]
            second[case] += bool(right) and right[0] < 2
            odds[case] += result.causes[right[0]].odds if right else 0.0
            if case == "none":
                inside["lines"] += len(result.lines)
                inside["within"] += sum(line.within for line in result.lines)
            if args.v and right[:1] != [0]:
                print(
                    seed,
                    kind,
                    case,
                    about,
                    [(c.kind, round(c.odds, 2), c.text[:60]) for c in result.causes[:3]],
                )
    print(HEAD.format(roofs=args.roofs, kinds=len(KINDS)))
    print("| planted | lists | named first | among the first two | mean odds given |")
    print("|---|---|---|---|---|")
    for case in CASES:
        n = number[case]
        print(f"| {case} | {n} | {first[case] / n:.1%} | {second[case] / n:.1%} | {odds[case] / n:.0%} |")
    n = sum(number.values())
    shares = f"{sum(first.values()) / n:.1%} | {sum(second.values()) / n:.1%} | {sum(odds.values()) / n:.0%}"
    print(f"| all | {n} | {shares} |")
    share = inside["within"] / inside["lines"]
    print(f"\nOf lists without a mistake {share:.0%} of the lines are within our 95 % bounds.")
    print("These do not hold the other party's own doubt.")


if __name__ == "__main__":
    main()
