"""Small batches to run for real: gables, some of them spoiled, and the command in a process of its own."""

import os
import signal
import subprocess
import sys
import time

import laspy
import numpy as np

CHANGING = {"times.json", "times.csv"}  # what a run took stands there, and nothing else changes


def gable(length=12.0, width=8.0, seed=0):
    """A gable of 6 in 12 over its lawn at 4 points a square metre, noise 2 cm; shape (n, 3) [m]."""
    rng = np.random.default_rng([5, seed])
    xy = rng.uniform((-8, -8), (length + 8, width + 8), (int(4 * (length + 16) * (width + 16)), 2))
    on = (xy > 0).all(axis=1) & (xy < (length, width)).all(axis=1)
    z = np.where(on, 3 + np.minimum(xy[:, 1], width - xy[:, 1]) / 2, 0.0)
    return np.column_stack([xy, z + rng.normal(0, 0.02, len(xy))])


def write_laz(path, xyz, crs=None):
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.001] * 3, np.floor(xyz.min(axis=0))
    if crs is not None:
        header.add_crs(crs)
    las = laspy.LasData(header)
    las.xyz = xyz
    las.write(path)
    return path


def write_jobs(folder, n, *, spoiled=()):
    """A manifest of n gables; of the spoiled ones, half of the file is there."""
    folder.mkdir(exist_ok=True)
    lines = ["id,input,unit"]
    for k in range(n):
        path = write_laz(folder / f"{k:03d}.laz", gable(10 + 0.3 * (k % 20), 7 + 0.2 * (k % 11), seed=k))
        if k in spoiled:
            path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
        lines.append(f"roof {k:03d},{path.name},m")
    (folder / "m.csv").write_text("\n".join(lines) + "\n")
    return folder / "m.csv"


def command(*arguments):
    return [sys.executable, "-m", "slopewright", "batch", *map(str, arguments)]


def run(*arguments, **more):
    """Run a batch to its end."""
    return subprocess.run(command(*arguments), capture_output=True, text=True, timeout=300, **more)


def start(*arguments, **more):
    """Start a batch in a group of its own."""
    return subprocess.Popen(
        command(*arguments),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        **more,
    )


def wait_for_rows(folder, n, process, patience_s=120):
    """Wait until n jobs have left their rows."""
    end = time.monotonic() + patience_s
    while len(list(folder.glob("rows/*.json"))) < n:
        assert process.poll() is None and time.monotonic() < end, "the batch ended, or does not get on"
        time.sleep(0.02)


def descendants(pid):
    """Processes below a process (Linux, proc(5)), the deepest last."""
    parents = {}
    for entry in os.listdir("/proc"):
        if entry.isdigit():
            try:
                with open(f"/proc/{entry}/stat", encoding="ascii", errors="replace") as stream:
                    parents[int(entry)] = int(stream.read().rsplit(")", 1)[1].split()[1])
            except OSError:
                continue
    found = [pid]
    for one in found:
        found += [child for child, parent in parents.items() if parent == one]
    return found[1:]


def kill(process, number=signal.SIGKILL):
    os.kill(process.pid, number)
    process.wait(60)
    process.stderr.close()


def content(folder):
    """Every file of a batch that must repeat, by name."""
    paths = (path for path in folder.rglob("*") if path.is_file() and path.name not in CHANGING)
    return {str(path.relative_to(folder)): path.read_bytes() for path in paths}
