"""A slice of tests/benchmarks/fuzz.py: each reader, some damaged files, and that the net has no holes."""

import os
import signal

import pytest
from fuzz_contained import ANSWER, REFUSED, judge, mutant, run_target
from fuzz_mutate import crc32c
from fuzz_targets import Target, all_targets

from slopewright.errors import InputError

N_MUTANTS = 60
SEED = 7


@pytest.fixture(scope="module")
def targets(tmp_path_factory):
    return all_targets(tmp_path_factory.mktemp("seeds"))


def test_every_reader_takes_the_files_that_the_mutants_are_made_of(targets, tmp_path):
    for target in targets:
        for number, seed in enumerate(target.seeds):
            folder = tmp_path / f"{targets.index(target)}-{number}"
            folder.mkdir()
            assert judge(target, folder, seed) == (ANSWER, ""), f"{target.name}, seed {number}"


def test_a_damaged_file_gives_an_answer_or_one_clear_line(targets):
    for target in targets:
        tally = run_target(target, SEED, range(N_MUTANTS))
        assert not tally.faults, f"{target.name}: {tally.faults}"
        assert tally.counts[ANSWER] + tally.counts[REFUSED] == N_MUTANTS
        assert tally.counts[REFUSED], f"{target.name}: nothing was damaged"


def test_a_mutant_follows_from_its_number(targets):
    assert mutant(targets[0], 1, 5) == mutant(targets[0], 1, 5) != mutant(targets[0], 2, 5)


def call_by_content(path):
    """A reader with every fault that there is, by the file's first byte."""
    first = path.read_bytes()[:1]
    if first == b"s":
        os.kill(os.getpid(), signal.SIGSEGV)
    if first == b"m":
        bytearray(1 << 34)
    if first == b"k":
        {}["x"]
    if first == b"r":
        raise InputError("no")
    if first == b"e":
        raise InputError("")


def test_the_net_catches_crashes_floods_of_memory_and_tracebacks(monkeypatch):
    """Oracle: a reader made to fail; each fault is told by the number of its file, and none hides another."""
    import fuzz_contained

    letters = b"asmkreas"
    monkeypatch.setattr(fuzz_contained, "mutant", lambda target, seed, number: letters[number : number + 1])
    tally = run_target(Target("x", "text", "x", [b"a"], call_by_content), 1, range(len(letters)))
    assert tally.counts == {
        "answer": 2,
        "crash": 2,
        "memory": 1,
        "traceback": 1,
        "refused": 1,
        "bad message": 1,
    }
    assert [(n, kind.split(",")[0]) for n, kind, _ in tally.faults if kind.startswith("crash")] == [
        (1, "crash"),
        (7, "crash"),
    ]


def test_check_sums_of_e57_pages():
    """Oracle: RFC 3720, B.4: CRC-32C of 32 bytes of zero, sent as aa 36 91 8a (least byte first)."""
    assert crc32c(bytes(32)) == 0x8A9136AA
