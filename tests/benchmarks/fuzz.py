"""Damaged files by the hundred thousand into every reader: an answer or one clear line, and nothing else.

Run from the repository's root:  python tests/benchmarks/fuzz.py --mutants 100000 > tests/benchmarks/fuzz.md
Mutants follow from the seed, the reader's name and their number, so that any one can be made again:
python tests/benchmarks/fuzz.py --show laz 17 > mutant.laz
"""

import argparse
import platform
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / name) for name in ("", "fuzz", "cloud", "batch")]

from fuzz_contained import ANSWER, HANG_S, MEMORY_BYTES, REFUSED, mutant, run_target  # noqa: E402
from fuzz_targets import all_targets  # noqa: E402

MOST_SHOWN = 12  # faults of a reader
COLUMNS = (ANSWER, REFUSED, "traceback", "bad message", "memory", "crash", "hang")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mutants", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="readers whose name begins so")
    parser.add_argument(
        "--show", nargs=2, metavar=("READER", "NUMBER"), help="write one mutant to the output"
    )
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        targets = [t for t in all_targets(Path(folder)) if t.name.startswith(given.only or "")]
        if given.show:
            target = next(t for t in targets if t.name == given.show[0])
            sys.stdout.buffer.write(mutant(target, given.seed, int(given.show[1])))
            return
        table(targets, given)


def table(targets, given):
    total = sum(target.weight for target in targets)
    start, tallies = time.perf_counter(), []
    for target in targets:
        tallies.append(run_target(target, given.seed, range(round(given.mutants * target.weight / total))))
        print(target.name, dict(tallies[-1].counts), tallies[-1].faults[:3], file=sys.stderr, flush=True)
    n = sum(sum(tally.counts.values()) for tally in tallies)
    print("# Damaged files\n")
    print(
        f"Printed by `tests/benchmarks/fuzz.py --mutants {given.mutants} --seed {given.seed}`: {n:,} mutants"
        f" in {(time.perf_counter() - start) / 60:.0f} min, Python {platform.python_version()} on"
        f" {platform.system()} {platform.machine()}.  An answer is a file that could still be read whole;"
        " refused is one line that names the file and the way out; everything else is a fault of ours."
        f"  A child may take {MEMORY_BYTES >> 20} MB and {HANG_S:g} s for a mutant.\n"
    )
    print("| reader | mutants | " + " | ".join(COLUMNS) + " | slowest, s | peak, MB |")
    print("|---|" + "---:|" * (len(COLUMNS) + 3))
    for tally in tallies:
        counts = " | ".join(f"{tally.counts[column]:,}" for column in COLUMNS)
        n_own = sum(tally.counts.values())
        print(f"| {tally.target} | {n_own:,} | {counts} | {tally.slowest_s:.2f} | {tally.peak_mb:.0f} |")
    for tally in tallies:
        for number, kind, text in tally.faults[:MOST_SHOWN]:
            print(f"\n- {tally.target} {number}: {kind} {text}", end="")
    print()


if __name__ == "__main__":
    main()
