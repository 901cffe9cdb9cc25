"""The run folder appears whole or not at all.  Oracle: what the file system shows afterwards."""

import json
from pathlib import Path

import pytest

from slopewright.errors import InputError
from slopewright.runfolder import (
    RECORD_FILE,
    Digest,
    RunRecord,
    digest_file,
    digest_folder,
    previous_run,
    written_whole,
)


def record(**changes) -> RunRecord:
    fields = {
        "name": "a",
        "slopewright": "0",
        "source": "s",
        "inputs": (Digest(role="cloud", name="a.laz", n_bytes=1, sha256="0"),),
        "options": {"at": None},
        "request": {},
        "configs": {},
        "seeds": {},
        "chosen": "r1",
        "other_roofs": [],
        "warnings": [],
        "not_certified": [],
        "measure_key": "m",
        "takeoff_key": "t",
        "files": {"roof.json": None, RECORD_FILE: None},
    }
    return RunRecord(**{**fields, **changes})


def make_run(folder: Path, text: str = "old") -> None:
    with written_whole(folder, None) as staging:
        (staging / "roof.json").write_text(text)
        record().write(staging)


def test_a_record_reads_back_as_written(tmp_path):
    make_run(tmp_path / "a.run")
    assert previous_run(tmp_path / "a.run") == record()


def test_a_failure_leaves_nothing_behind(tmp_path):
    with (
        pytest.raises(ZeroDivisionError),
        written_whole(tmp_path / "new" / "deep" / "a.run", None) as staging,
    ):
        (staging / "roof.json").write_text("half")
        raise ZeroDivisionError
    assert list(tmp_path.iterdir()) == []


def test_a_failure_leaves_the_old_run_as_it_was(tmp_path):
    make_run(tmp_path / "a.run")
    with pytest.raises(ZeroDivisionError), written_whole(tmp_path / "a.run", record()) as staging:
        (staging / "roof.json").write_text("half")
        raise ZeroDivisionError
    assert (tmp_path / "a.run" / "roof.json").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["a.run"]


def test_replacing_a_run_keeps_what_a_person_put_there(tmp_path):
    folder = tmp_path / "a.run"
    make_run(folder)
    (folder / "notes.txt").write_text("mine")
    (folder / "letters").mkdir()
    (folder / "letters" / "1.txt").write_text("mine too")
    with written_whole(folder, previous_run(folder)) as staging:
        (staging / "takeoff.json").write_text("new")
        record(files={"takeoff.json": None, RECORD_FILE: None}).write(staging)
    assert sorted(path.name for path in folder.iterdir()) == [
        "letters",
        "notes.txt",
        RECORD_FILE,
        "takeoff.json",
    ]
    assert (folder / "letters" / "1.txt").read_text() == "mine too"
    assert [path.name for path in tmp_path.iterdir()] == ["a.run"]


def test_no_folder_and_an_empty_folder_hold_no_run(tmp_path):
    assert previous_run(tmp_path / "none") is None
    (tmp_path / "empty").mkdir()
    assert previous_run(tmp_path / "empty") is None


def test_a_folder_of_something_else_is_refused(tmp_path):
    (tmp_path / "thesis.tex").write_text("years of work")
    with pytest.raises(InputError, match="is not a run folder"):
        previous_run(tmp_path)


def test_a_file_in_the_way_is_refused(tmp_path):
    (tmp_path / "a.run").write_text("")
    with pytest.raises(InputError, match="a file is in the way"):
        previous_run(tmp_path / "a.run")


@pytest.mark.parametrize(
    ("content", "text"),
    [
        ("{", "not JSON"),
        ("[]", "format is not"),
        ('{"format": "other-run", "version": 1}', "format is not"),
        ('{"format": "slopewright-run", "version": 99}', "version 99"),
        ('{"format": "slopewright-run", "version": 1}', "is missing"),
    ],
)
def test_a_record_of_something_else_is_refused(tmp_path, content, text):
    (tmp_path / RECORD_FILE).write_text(content)
    with pytest.raises(InputError, match=text):
        previous_run(tmp_path)


def test_a_place_below_a_file_cannot_be_written(tmp_path):
    (tmp_path / "plain").write_text("")
    with (
        pytest.raises(InputError, match="cannot be written"),
        written_whole(tmp_path / "plain" / "a.run", None),
    ):
        pass


def test_a_digest_is_that_of_the_standard(tmp_path):
    """Oracle: FIPS 180-2, appendix B.1, SHA-256 of "abc"."""
    (tmp_path / "abc").write_text("abc")
    digest = digest_file(tmp_path / "abc", "cloud")
    assert digest.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert (digest.name, digest.n_bytes) == ("abc", 3)


def test_a_record_holds_no_path_and_no_time(tmp_path):
    make_run(tmp_path / "a.run")
    make_run(tmp_path / "b.run")
    first, second = ((tmp_path / name / RECORD_FILE).read_bytes() for name in ("a.run", "b.run"))
    assert first == second
    assert str(tmp_path) not in json.dumps(json.loads(first))


def test_a_changed_or_missing_file_is_noticed(tmp_path):
    (tmp_path / "roof.json").write_text("old")
    (tmp_path / "times.json").write_text("1 s")
    files = digest_folder(tmp_path, frozenset({"times.json"}))
    assert list(files) == ["roof.json", "times.json"]
    kept = record(files=files)
    assert kept.is_intact(tmp_path)
    (tmp_path / "times.json").write_text("2 s")
    assert kept.is_intact(tmp_path)
    (tmp_path / "roof.json").write_text("new")
    assert not kept.is_intact(tmp_path)
    assert not kept.is_intact(tmp_path, ("roof.json",))
    (tmp_path / "roof.json").unlink()
    assert not kept.is_intact(tmp_path)
