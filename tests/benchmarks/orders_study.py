"""Does an order run short as often as it says?  Takeoffs of measured roofs, held against the true roofs.

    python tests/benchmarks/orders_study.py [--roofs 400] [--first 0]

Prints a markdown table.  Each true roof (gable, hip, lean-to on walls, two wings with a valley; sizes,
pitch and noise drawn) is measured with a common error of scale, errors of its lines (eaves, rakes, ridges,
each as a whole) and a little of its corners, whose covariance the takeoff is told.  Its orders are held
against the need of the true roof, known exactly, with its courses laid anew; what only the roofer decides
(reuse of offcuts between the two policies, stated shares of waste, an overhang that nobody measured) is drawn
as the system's file states it.
"""

import argparse
import sys
from pathlib import Path
from unittest.mock import patch

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from slopewright import takeoff
from slopewright.takeoff import lines
from slopewright.units import FOOT_M
from takeoff.takeoff_roofs import (
    gable,
    hip,
    inside_corner,
    lean_to,
    lines_of,
    system_document,
    take,
    with_corners,
)

ITEMS = (
    "field shingles",
    "underlayment, single",
    "ice barrier",
    "valley underlayment",
    "starter",
    "hip and ridge caps",
    "drip edge at eaves",
    "drip edge at rakes",
    "apron flashing",
    "step flashing",
    "nails",
)
CORNER_U_M = 0.003  # of each corner by itself: edges that are not quite straight or parallel
FINER = 1000  # times smaller packages, so that 5 % can be met
SIZES = ("holds", "holds_ft2", "holds_ft")


def true_roof(rng):
    """One of four kinds, in feet; pitch from 4 in 12, so that no draw crosses 4:12 downwards unseen."""
    rise = rng.uniform(4.5, 7.5) if rng.random() < 0.5 else rng.uniform(8.5, 12)
    length, span = rng.uniform(28, 70), rng.uniform(22, 40)
    return (
        lambda: gable(length, span / 2, rise),
        lambda: hip(max(length, span + 4), span, rise),
        lambda: lean_to(length / 2, span / 2, rise),
        lambda: inside_corner(length / 2, length / 3, span / 2, rise),
    )[rng.integers(4)]()


def measured(roof, rng):
    """The roof as a survey might have it, with what the survey knows of its errors."""
    scale_u, line_u_m = rng.uniform(0.001, 0.008), rng.uniform(0.01, 0.06)
    corners_m = roof.vertices * (1 + scale_u * rng.standard_normal())
    lines = lines_of(corners_m)
    moved = lines @ (line_u_m * rng.standard_normal(lines.shape[1])) + CORNER_U_M * rng.standard_normal(
        len(lines)
    )
    corners_m = corners_m + moved.reshape(corners_m.shape)
    told = {"scale_u": scale_u, "line_u_m": line_u_m, "corner_u_m": CORNER_U_M}
    return with_corners(roof, corners_m / FOOT_M, **told)


def finer_system():
    """The laminated system in packages so small that rounding up hides nothing; stock lengths stay."""
    document = system_document()
    for layer in document["layer"]:
        package = layer.get("package", {})
        for size in SIZES:
            if size in package and layer["unit"] in ("sq", "lf", "lb"):
                package[size] /= FINER
    return takeoff.system_from_toml(document, file="finer.toml")


def needs(roof, using, seed):
    """Draws of the need of a roof that is known exactly, in packages, by item; and the takeoff."""
    seen = []
    real = lines.order_packages

    def spy(packages, **more):
        seen.append(np.ceil(packages - 1e-6))
        return real(packages, **more)

    with patch.object(lines, "order_packages", spy):
        result = take(roof, using=using, seed=seed, ice_barrier=True)
    ordered = [line for line in result.lines if line.order is not None]
    return {line.item: need for line, need in zip(ordered, seen, strict=True)}, result


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--roofs", type=int, default=400)
    parser.add_argument("--first", type=int, default=0)
    args = parser.parse_args()
    print(f"{args.roofs} roofs from seed {args.first}, assurance 0.95\n")
    print("| item | orders | stated, as sold | happened | stated, fine packages | happened |")
    print("|---|---|---|---|---|---|")
    found = {}
    for column, using in enumerate((takeoff.system_from_toml(system_document(), file="x"), finer_system())):
        for seed in range(args.first, args.first + args.roofs):
            rng = np.random.default_rng(seed)
            truth = true_roof(rng)
            _, ordered = needs(measured(truth, rng), using, seed)
            need, _ = needs(truth, using, seed + 10**6)
            for line in ordered.lines:
                if line.order is not None and line.item in need:
                    happened = float(np.mean(need[line.item] > line.order.quantity))
                    for name in (line.item, "all"):
                        found.setdefault((name, column), []).append((line.order.chance_short, happened))
    for item in (*ITEMS, "all"):
        cells = [np.array(found[item, column]) for column in (0, 1) if (item, column) in found]
        shares = " | ".join(f"{value:.1%}" for cell in cells for value in cell.mean(axis=0))
        print(f"| {item} | {len(cells[0])} | {shares} |")


if __name__ == "__main__":
    main()
