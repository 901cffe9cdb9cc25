"""How well sampled clouds of Vienna's pitched roofs are measured: one row a roof, and a summary, as markdown.

    PYTHONPATH=tests python tests/benchmarks/vienna_study.py [--roofs N] [--seed S]

The rule that takes the roofs, the sampling and what "right" means are in tests/external/vienna_clouds.py.
"""

import argparse
from time import perf_counter

import numpy as np

from external.vienna_clouds import ROOF_TYPES, RoofResult, pitched_roofs, study


def row(result: RoofResult, seconds: float) -> str:
    part = result.part
    start = f"| {part.id[-14:]} | {ROOF_TYPES[part.roof_type]} | {len(part.surfaces)} "
    if result.refused:
        return f"{start}| 0 | {result.area_m2:.0f} | refused | | | | {seconds:.1f} | no |"
    worst = max(result.faces, key=lambda face: abs(face.pitch_error_deg) / face.tolerance_deg)
    right = "yes" if result.area_is_right and result.pitches_are_right else "no"
    return (
        f"{start}| {result.n_planes} | {result.area_m2:.0f} | {100 * result.area_error:+.2f}"
        f" | {100 * result.area_half_width:.2f} | {worst.pitch_error_deg:+.2f} of {worst.tolerance_deg:.2f}"
        f" | {min(face.covered for face in result.faces):.2f} | {seconds:.1f} | {right} |"
    )


def summary(results: list[RoofResult], seconds: list[float]) -> str:
    measured = [result for result in results if not result.refused]
    area_errors = np.array([result.area_error for result in measured])
    bounds = np.array([result.area_half_width for result in measured])
    pitch_errors = np.abs([face.pitch_error_deg for result in measured for face in result.faces])
    right = [result for result in measured if result.area_is_right and result.pitches_are_right]
    lines = {
        "roofs": len(results),
        "refused": len(results) - len(measured),
        "area within 1 %": sum(result.area_is_right for result in measured),
        "every pitch within tolerance": sum(result.pitches_are_right for result in measured),
        "both": len(right),
        "area error, median [%]": f"{100 * np.median(area_errors):+.2f}",
        "area error, median of magnitude [%]": f"{100 * np.median(np.abs(area_errors)):.2f}",
        "area inside its 95 % bounds": f"{np.mean(np.abs(area_errors) <= bounds):.0%}",
        "faces": len(pitch_errors),
        "pitch error, median of magnitude [deg]": f"{np.median(pitch_errors):.3f}",
        "faces with pitch within 0.3 deg": f"{np.mean(pitch_errors <= 0.3):.1%}",
        "time a roof, median [s]": f"{np.median(seconds):.1f}",
    }
    return "\n".join(["| | |", "|---|---|", *(f"| {name} | {value} |" for name, value in lines.items())])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--roofs", type=int, default=None, help="only the first N of the rule")
    parser.add_argument("--seed", type=int, default=0, help="roof i is sampled with seed + i")
    arguments = parser.parse_args()
    print("| roof | type | faces | planes | area m² | error % | ± % | worst pitch | covered | s | right |")
    print("|---|---|---|---|---|---|---|---|---|---|---|")
    results, seconds = [], []
    for index, part in enumerate(pitched_roofs()[: arguments.roofs]):
        start = perf_counter()
        results.append(study(part, np.random.default_rng(arguments.seed + index)))
        seconds.append(perf_counter() - start)
        print(row(results[-1], seconds[-1]), flush=True)
    print()
    print(summary(results, seconds))


if __name__ == "__main__":
    main()
