"""How well roofs of published city models are measured when they are scanned from the air.

    python tests/benchmarks/lod2_study.py --jsonl rows.jsonl > tests/benchmarks/lod2_study.md

Shapes that nobody here has drawn: every pitched roof of Vienna's LoD2 and of 3DBAG's LoD2.2 that a rule
takes (tests/external/lod2_roofs.py), on its own on level ground, at 8 and 25 points/m² with the noise of
the core's study.  A run that was stopped goes on where --jsonl left off.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from dataclasses import asdict
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
from core_scene import as_read, measure
from core_score import Row, failed, scored
from core_table import accuracy, calibration, failures, least_m2, worst_lines

from external.lod2_roofs import PublishedRoof, pitched_roofs
from simulate.captures import SENSORS, capture
from simulate.surroundings import bare
from slopewright.errors import SlopewrightError

CLASSES = ("lidar-25", "lidar-8")
AREA_RIGHT = 0.015  # relative error of the total area


def one(roof: PublishedRoof, sensor: str, number: int) -> Row:
    """Scan and measure one roof and hold it against the model."""
    rng = np.random.default_rng([number, list(SENSORS).index(sensor)])
    sim, drawn = capture(SENSORS[sensor], roof.truth, bare(roof.truth), rng)
    cloud = as_read(sim, number)
    start = time.perf_counter()
    try:
        found = scored(roof.truth, measure(roof.truth, cloud), least_m2(sensor))
    except SlopewrightError as error:
        found = failed(roof.truth, str(error)[:160])
    seconds = time.perf_counter() - start
    return Row(sensor=sensor, kind=roof.source, seed=number, drawn=drawn, seconds=seconds, **found)  # type: ignore[arg-type]


def area_right(rows: list[Row]) -> str:
    """Share of the roofs whose area is right, by class."""
    lines = ["| sensor | roofs | area within 1.5 % | of those measured |", "|---|---|---|---|"]
    for sensor in CLASSES:
        group = [row for row in rows if row.sensor == sensor]
        right = sum(abs(row.area_error) <= AREA_RIGHT for row in group)
        measured = sum(not row.failure for row in group)
        lines.append(f"| {sensor} | {len(group)} | {right / len(group):.1%} | {right / measured:.1%} |")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--every", type=int, default=1, help="only every so many roofs")
    parser.add_argument("--jsonl", type=Path, required=True, help="a row per roof; held ones are kept")
    arguments = parser.parse_args()
    held = arguments.jsonl.read_text().splitlines() if arguments.jsonl.exists() else []
    rows = {(row.sensor, row.seed): row for row in (Row(**json.loads(line)) for line in held)}
    roofs = list(enumerate(pitched_roofs()))[:: arguments.every]
    with arguments.jsonl.open("a") as file:
        for sensor in CLASSES:
            for number, roof in roofs:
                if (sensor, number) not in rows:
                    row = rows[sensor, number] = one(roof, sensor, number)
                    print(json.dumps(asdict(row)), file=file, flush=True)
    wanted = [rows[sensor, number] for sensor in CLASSES for number, _ in roofs]
    print("# Roofs of published city models, scanned from the air\n")
    print("Printed by `tests/benchmarks/lod2_study.py`; the number after the model's name is the roof's.\n")
    print(area_right(wanted), "\n")
    print(accuracy(wanted, "sensor"), "\n")
    print("Bounds that hold at 50 / 80 / 95 %, in per cent:\n")
    print(calibration(wanted, "sensor"), "\n")
    print(accuracy(wanted, "kind"), "\n")
    print(failures(wanted))
    print(worst_lines(wanted))


if __name__ == "__main__":
    main()
