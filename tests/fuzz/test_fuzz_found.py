"""What fuzzing found, each cut down to what makes the fault.

A layer of a LAZ chunk that is too short (memory of gigabytes, an abort in the decoder) is held to in
tests/cloud/test_las_files.py.
"""

import json

import pytest

from slopewright.batch import read_manifest
from slopewright.errors import InputError
from slopewright.intent import Intent, Options
from slopewright.job import load_job
from slopewright.photos.marks import read_marks
from slopewright.report import state_from_json
from slopewright.run import measure
from slopewright.runfolder import RunRecord

LONGEST = 2000  # characters of a line that a person is to read


@pytest.fixture(scope="module")
def run_folder(tmp_path_factory):
    from fuzz_targets import ROOT

    folder = tmp_path_factory.mktemp("run") / "house.run"
    measure(ROOT / "sample_inputs" / "house", folder, Options(files="roof"))
    return folder


@pytest.fixture
def record(run_folder):
    return json.loads((run_folder / "run.json").read_text())


def test_an_edge_that_no_face_has_is_refused(run_folder):
    content = json.loads((run_folder / "state.json").read_text())
    edge = content["edges"][0]
    sides = {frozenset(pair) for pair in [e["corners"] for e in content["edges"]]}
    start = edge["corners"][0]
    edge["corners"] = [
        start,
        next(k for k in range(len(content["corners"])) if {start, k} not in sides and k != start),
    ]
    with pytest.raises(InputError, match=r"edges\[0\] is .*an edge between two corners"):
        state_from_json(content, file="state.json")


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("warnings",), [{"text": "no code", "about": []}]),
        (("warnings",), [{"code": "x", "text": "no about"}]),
        (("warnings",), [{"code": "x", "text": "y", "about": 7}]),
        (("inputs",), []),
        (("options", "system"), None),
        (("options", "metric"), "no"),
        (("options", "files"), "some"),
        (("request", "site", "storeys"), "two"),
        (("request", "scope"), None),
        (("A" * 5000,), 1),
    ],
)
def test_a_record_that_was_changed_is_refused_where_it_is_read(record, tmp_path, path, value):
    content = json.loads(json.dumps(record))
    place = content
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    (tmp_path / "run.json").write_text(json.dumps(content))
    with pytest.raises(InputError, match=r"run\.json") as caught:
        Intent.of_record(RunRecord.read(tmp_path))
    assert len(str(caught.value)) < LONGEST


def test_json_that_is_nested_too_deep_is_refused(tmp_path):
    for name, read in (("marks.json", read_marks), ("run.json", lambda path: RunRecord.read(path.parent))):
        (tmp_path / name).write_text('{"a":' * 100_000)
        with pytest.raises(InputError, match="JSON"):
            read(tmp_path / name)


def test_a_name_as_long_as_a_file_is_cut_in_the_message(tmp_path):
    long = "n" * 5000
    (tmp_path / "cloud.laz").write_bytes(b"x")
    (tmp_path / "job.toml").write_text(f"[job]\n{long} = 1\n")
    (tmp_path / "m.csv").write_text(f"id,{long}\n")
    for read, name in ((load_job, "job.toml"), (read_manifest, "m.csv")):
        with pytest.raises(InputError) as caught:
            read(tmp_path / name)
        assert len(str(caught.value)) < LONGEST
