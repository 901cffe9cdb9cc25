"""Mutants in child processes: a crash, a hang or a flood of memory ends with its child and is told apart."""

import contextlib
import mmap
import os
import random
import resource
import shutil
import signal
import struct
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from fuzz_mutate import mutate

from slopewright.errors import InputError

HANG_S = 20.0  # a mutant that takes longer hangs; the slowest seed takes a hundredth of it
MEMORY_BYTES = 1 << 30  # private memory of a child; the largest seed has 100 kB
ANSWER, REFUSED = "answer", "refused"
SLOT = struct.Struct("<qd")  # the mutant at work, and since when


@dataclass
class Tally:
    target: str
    counts: Counter = field(default_factory=Counter)
    faults: list = field(default_factory=list)  # (number of the mutant, kind, text)
    slowest_s: float = 0.0
    peak_mb: float = 0.0


def mutant(target, seed, number):
    """The bytes of one mutant: the same ones on any machine."""
    return mutate(target.kind, target.seeds, random.Random(f"{seed}:{target.name}:{number}"))


def run_target(target, seed, numbers):
    """Feed mutants to a target.  One thread, Linux: children are forked and limited."""
    tally = Tally(target.name)
    numbers = list(numbers)
    at = 0
    while at < len(numbers):
        at += _child(target, seed, numbers[at:], tally)
    return tally


def _child(target, seed, numbers, tally):
    """Run mutants in one child until it ends or dies; returns how many are done."""
    slot = mmap.mmap(-1, SLOT.size)
    slot[:] = SLOT.pack(-1, time.monotonic())
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _work(target, seed, numbers, slot, writing)
    os.close(writing)
    os.set_blocking(reading, False)
    told, hung = bytearray(), False
    while True:
        with contextlib.suppress(BlockingIOError):
            while block := os.read(reading, 1 << 16):
                told += block
        pid, status, usage = os.wait4(child, os.WNOHANG)
        if pid:
            break
        if time.monotonic() - SLOT.unpack(slot[:])[1] > HANG_S and not hung:
            hung = True
            os.kill(child, signal.SIGKILL)
        time.sleep(0.002)
    with contextlib.suppress(BlockingIOError):
        while block := os.read(reading, 1 << 16):
            told += block
    os.close(reading)
    done = _read(told, tally)
    tally.peak_mb = max(tally.peak_mb, usage.ru_maxrss / 1024)
    if os.WIFSIGNALED(status):
        last = SLOT.unpack(slot[:])[0]
        kind = "hang" if hung else f"crash, {signal.Signals(os.WTERMSIG(status)).name}"
        tally.counts[kind.split(",")[0]] += 1
        tally.faults.append((numbers[max(last, 0)], kind, ""))
        return max(last, 0) + 1
    return done


def _read(told, tally):
    done = 0
    for line in told.decode().splitlines():
        number, kind, seconds, text = line.split("\t", 3)
        tally.counts[kind] += 1
        tally.slowest_s = max(tally.slowest_s, float(seconds))
        if kind not in (ANSWER, REFUSED):
            tally.faults.append((int(number), kind, text))
        done += 1
    return done


def _work(target, seed, numbers, slot, writing):
    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    try:
        nothing = os.open(os.devnull, os.O_RDWR)
        os.dup2(nothing, 1)
        os.dup2(nothing, 2)
        resource.setrlimit(resource.RLIMIT_DATA, (MEMORY_BYTES, MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        for index, number in enumerate(numbers):
            slot[:] = SLOT.pack(index, time.monotonic())
            start = time.perf_counter()
            kind, text = judge(target, folder, mutant(target, seed, number))
            line = f"{number}\t{kind}\t{time.perf_counter() - start:.4f}\t{text}\n"
            os.write(writing, line.encode("ascii", "backslashreplace"))
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        os._exit(0)


def judge(target, folder, data):
    """What a target makes of a file: an answer, a refusal in one line that can be shown, or a fault."""
    path = folder / target.file
    path.write_bytes(data)
    try:
        target.call(path)
        return ANSWER, ""
    except InputError as error:
        told = str(error)
        if not told.strip() or len(told) > 2000:
            return "bad message", f"{len(told)} characters"
        return REFUSED, ""
    except MemoryError:
        return "memory", ""
    except BaseException as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        where = f"{Path(last.filename).name}:{last.lineno}"
        return "traceback", f"{type(error).__name__} in {where}: " + " ".join(str(error).split())[:120]
