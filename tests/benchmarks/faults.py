# ruff: noqa: E501  (sentences of the printed page)
"""A batch of synthetic roofs that is killed, starved and spoiled, and then given once more.

Run from the repository's root:  python tests/benchmarks/faults.py > tests/benchmarks/faults.md
One batch runs undisturbed.  Others have their client, their job processes, or the workers and the scheduler
of a Dask cluster killed at random moments, or find the disk full; then the same command runs once more, and
every byte of the folder is held against the undisturbed one, but for the times.  5 % of the clouds are spoiled.
"""

import argparse
import os
import platform
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "batch")]

from batch_jobs import content, descendants, kill, run, start, write_jobs  # noqa: E402

SPOILED_SHARE = 0.05


def rows(out):
    return len(list(out.glob("rows/*.json"))) if out.exists() else 0


def wait(out, n, process):
    while rows(out) < n and process.poll() is None:
        time.sleep(0.02)


def kill_clients(words, out, n, rng):
    """The client is killed, again and again, until little is left to do."""
    kills = 0
    while rows(out) < 0.8 * n:
        process = start(*words)
        wait(out, rows(out) + rng.randint(1, n // 4), process)
        kills += process.poll() is None
        kill(process)
    return f"client killed {kills} times"


def kill_jobs(words, out, n, rng):
    """Some process below the client is killed every now and then, until the batch ends."""
    process, kills = start(*words), 0
    while process.poll() is None and kills < n // 10:
        wait(out, rows(out) + rng.randint(1, 10), process)
        below = descendants(process.pid)
        if below:
            try:
                os.kill(rng.choice(below), signal.SIGKILL)
                kills += 1
            except ProcessLookupError:
                continue
    process.wait()
    process.stderr.close()
    return f"{kills} job processes killed"


def fill_disk(words, out, n, rng):
    """The folder lies on a small disk (tmpfs) that is full before the batch is half done."""
    with tempfile.TemporaryDirectory() as name:
        size_kb = max(n * 15, 400)
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size_kb}k", "none", name], check=True)
        try:
            small = Path(name) / "out"
            told = run(*[small if word == out else word for word in words])
            shutil.copytree(small, out)
        finally:
            subprocess.run(["umount", name], check=True)
    return f"disk of {size_kb / 1000:.1f} MB full: exit status {told.returncode}, {told.stderr.strip().splitlines()[-1][-90:]}"


class Cluster:
    """A Dask scheduler and two workers on this machine."""

    def __init__(self, folder):
        self.file = folder / "scheduler.json"
        self.processes = [
            self._dask(
                "scheduler",
                "--scheduler-file",
                self.file,
                "--no-dashboard",
                "--host",
                "127.0.0.1",
                "--port",
                "0",
            )
        ]
        while not self.file.exists():
            time.sleep(0.1)
        self.address = __import__("json").loads(self.file.read_text())["address"]
        for _ in range(2):
            self.add_worker()
        time.sleep(8)

    @staticmethod
    def _dask(*words):
        return subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_" + words[0], *map(str, words[1:])],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )

    def add_worker(self):
        self.processes.append(
            self._dask("worker", self.address, "--nthreads", "1", "--no-dashboard", "--host", "127.0.0.1")
        )

    def close(self):
        for process in self.processes:
            for pid in [*reversed(descendants(process.pid)), process.pid]:
                try:
                    os.kill(pid, signal.SIGKILL)
                except ProcessLookupError:
                    continue
            process.wait()


def kill_cluster(words, out, n, rng):
    """Workers of a cluster are killed and replaced; at last the scheduler goes."""
    with tempfile.TemporaryDirectory() as name:
        cluster, kills = Cluster(Path(name)), 0
        try:
            process = start(*words, "--scheduler", cluster.address)
            while rows(out) < 0.6 * n and process.poll() is None:
                wait(out, rows(out) + rng.randint(n // 20 + 1, n // 8 + 2), process)
                victim = rng.choice(cluster.processes[1:])
                if victim.poll() is None:
                    for pid in [*descendants(victim.pid), victim.pid]:
                        try:
                            os.kill(pid, signal.SIGKILL)
                        except ProcessLookupError:
                            continue
                    kills += 1
                    cluster.add_worker()
            os.kill(cluster.processes[0].pid, signal.SIGKILL)
            _, told = process.communicate(timeout=600)
        finally:
            cluster.close()
    last = told.strip().splitlines()[-1][-90:] if told.strip() else ""
    return f"{kills} workers killed, then the scheduler: exit status {process.returncode}, {last}"


KINDS = {"client": kill_clients, "jobs": kill_jobs, "disk": fill_disk, "cluster": kill_cluster}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--roofs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kinds", nargs="+", default=list(KINDS), choices=list(KINDS))
    given = parser.parse_args()
    rng = random.Random(given.seed)
    n = given.roofs
    print(
        f"# Faults\n\nPrinted by `tests/benchmarks/faults.py --roofs {n} --seed {given.seed}`: {n} gables of about"
    )
    print(
        f"2,000 points, {SPOILED_SHARE:.0%} of the files cut in half, two workers, Python {platform.python_version()} on"
    )
    print(f"{platform.system()} {platform.machine()}.  *Left* is what the disturbed batch left finished.\n")
    print(
        "| what was done to it | left | minutes | after one more run: finished | the same bytes as undisturbed | half-written |"
    )
    print("|---|---:|---:|---:|---|---:|", flush=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        jobs = write_jobs(
            folder / "clouds", n, spoiled=set(rng.sample(range(n), max(1, round(SPOILED_SHARE * n))))
        )
        options = ("--files", "roof", "--workers", 2, "-q")
        run(jobs, "--out", folder / "plain", *options)
        undisturbed = content(folder / "plain")
        for kind in given.kinds:
            out, begin = folder / kind, time.monotonic()
            told = KINDS[kind]((jobs, "--out", out, *options), out, n, rng)
            left, minutes = rows(out), (time.monotonic() - begin) / 60
            done = run(jobs, "--out", out, *options)
            after = content(out)
            hidden = [path for path in out.rglob(".*") if path.name != ".lock"]
            same = (
                "yes"
                if after == undisturbed
                else "NO: "
                + ", ".join(
                    sorted(
                        k for k in after.keys() | undisturbed.keys() if after.get(k) != undisturbed.get(k)
                    )[:3]
                )
            )
            print(
                f"| {told} | {left} | {minutes:.1f} | {rows(out)} (exit status {done.returncode}) | {same} | {len(hidden)} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
