"""What share of the field is wasted, by shape of roof and policy for offcuts, beside the rule of thumb.

    python tests/benchmarks/waste_study.py [--roofs 14] [--first 0] > tests/benchmarks/waste_study.md

Roofs are simulated without any measuring error; planes below 2:12 are not shingled.  Waste is what the
modules taken cover beyond the area of the planes, as a share of it; starter and caps are not in it.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections import defaultdict
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from simulate import KINDS, as_measured, random_roof
from slopewright.roof import Roof
from slopewright.scene import EdgeKind
from slopewright.takeoff.laying import Laying, Pattern, Policy, RoofCourses, lay_roof, make_pattern
from slopewright.units import SQUARE_M2

LOWEST_RISE = 2.0
HIP_SHARE = 0.5  # of hips and valleys in ridge, hips and valleys: from here on the trade's rule for hip roofs
RULE = {"gable": 0.10, "hip": 0.15}  # common practice
MODULES = {  # width, exposure and the [laying] of two shingles; least stagger and piece are common practice
    "laminated, 39 3/8 x 13 1/4 in": (39.375, 5.625, {"height_in": 13.25, "stagger_in": 6.5}),
    "strip, 36 x 12 in": (36.0, 5.0, {"height_in": 12, "stagger_in": 6}),
}
COMMON = {
    "stagger_repeat": 6,
    "least_stagger_in": 4,
    "least_piece_in": 6,
    "beyond_in": {"eave": 0.375, "rake": 0.375},
    "rule_of_thumb": [0.10, 0.15],
    "source": "CMHC sizes; common practice",
}

HEAD = """# Waste of field shingles by roof shape and policy

`python tests/benchmarks/waste_study.py --roofs {roofs} --first {first}`: {total} simulated roofs, sizes
without error. Waste in % of the area: median (5th to 95th percentile). `none`: no offcut is used again;
`plane`: on the plane it fell on, in the order of laying; `pooled`: the pieces of the whole roof are cut
together. Rule of thumb: 10 % where ridges, 15 % where hips and valleys prevail (common practice); short /
in / above: of a hundred roofs, how many it leaves below `pooled`, puts within the interval, puts above
`none`. ms: CPU for laying and all three policies."""


def module(name: str) -> Pattern:
    """The laying pattern of a module."""
    width_in, exposure_in, laying = MODULES[name]
    return make_pattern(
        Laying.model_validate_json(json.dumps(COMMON | laying)), width_in=width_in, exposure_in=exposure_in
    )


def rule_of_thumb(roof: Roof) -> float:
    """What the trade would add: by whether hips and valleys or ridges prevail."""
    total = {kind: length.value for kind, length in roof.edge_totals.items()}
    slanted = total.get(EdgeKind.HIP, 0.0) + total.get(EdgeKind.VALLEY, 0.0)
    ridge = total.get(EdgeKind.RIDGE, 0.0)
    return RULE["hip" if slanted > HIP_SHARE * (slanted + ridge) else "gable"]


def row(label: str, found: list[tuple[RoofCourses, float, float]]) -> str:
    """One line of the table from layouts, the rule of thumb for each, and seconds."""
    squares = np.array([courses.area_m2 / SQUARE_M2 for courses, _, _ in found])
    waste = {p: 100 * np.array([c.waste_m2(p) / c.area_m2 for c, _, _ in found]) for p in Policy}
    rule = 100 * np.array([thumb for _, thumb, _ in found])
    cut = [100 * sum(p.n_cut for p in c.planes) / sum(p.n_pieces for p in c.planes) for c, _, _ in found]
    shares = [
        np.mean(rule < waste[Policy.POOLED]),
        np.mean((waste[Policy.POOLED] <= rule) & (rule <= waste[Policy.NONE])),
        np.mean(rule > waste[Policy.NONE]),
    ]
    spread = " | ".join(
        f"{np.median(w):.1f} ({np.quantile(w, 0.05):.1f} to {np.quantile(w, 0.95):.1f})"
        for w in waste.values()
    )
    seconds = np.array([s for _, _, s in found])
    told = " / ".join(f"{100 * share:.0f}" for share in shares)
    return (
        f"| {label} | {len(found)} | {np.median(squares):.0f} | {np.median(cut):.0f} | {spread} |"
        f" {rule.mean():.0f} | {told} | {1000 * np.median(seconds):.0f} |"
    )


def main() -> None:
    """Lay and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--roofs", type=int, default=14, help="of each kind")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    args = parser.parse_args()
    print(HEAD.format(roofs=args.roofs, first=args.first, total=args.roofs * len(KINDS)))
    for name in MODULES:
        pattern = module(name)
        by_kind: dict[str, list[tuple[RoofCourses, float, float]]] = defaultdict(list)
        for kind in KINDS:
            for seed in range(args.first, args.first + args.roofs):
                roof = as_measured(random_roof(kind, np.random.default_rng([seed, KINDS.index(kind), 51])))
                planes = [plane for plane in roof.planes if plane.rise_in_12.value >= LOWEST_RISE]
                start = time.process_time()
                courses = lay_roof(roof, planes, pattern)
                by_kind[kind].append((courses, rule_of_thumb(roof), time.process_time() - start))
        print(f"\n## {name}\n")
        print(
            "| roof | n | squares | pieces cut % | none | plane | pooled | rule % | short / in / above | ms |"
        )
        print("|---|---|---|---|---|---|---|---|---|---|")
        for kind, found in by_kind.items():
            print(row(kind, found))
        print(row("all", [one for found in by_kind.values() for one in found]))


if __name__ == "__main__":
    main()
