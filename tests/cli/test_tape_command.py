"""slopewright tape, from the table to the run folder and its pages.

Oracles: byte equality of what must not change; definitions of the three verdicts; JCGM 100 (an observation
that agrees makes no bound wider).
"""

import json
import shutil
from pathlib import Path

import pytest
from pypdf import PdfReader

from slopewright import run
from slopewright.state import MoveBoundary

SAMPLE = Path(__file__).parents[2] / "sample_inputs" / "house"


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """The sample house with three lengths in its job.toml: one that is right, one wrong, one of no edge."""
    folder = tmp_path_factory.mktemp("tape") / "house"
    shutil.copytree(SAMPLE, folder)
    with (folder / "job.toml").open("a") as job:
        for edge, length in (("e17", 13.5), ("e4", 6.5), ("e99", 3.0)):
            job.write(f'\n[[tape]]\nedge = "{edge}"\nlength = {length}\nunit = "m"\nu = 0.01\n')
    return run.measure(folder)


@pytest.fixture
def folder(measured, tmp_path):
    shutil.copytree(measured.folder, tmp_path / "house.run")
    return tmp_path / "house.run"


def contents(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file() and p.name != "times.json"}


def table(folder, *rows, heading="edge,length,unit,how"):
    path = folder.parent / "tape.csv"
    path.write_text("\n".join((heading, *rows)) + "\n", encoding="utf-8")
    return path


def length_of(result, name):
    return next(edge.length for edge in result.roof.edges if edge.id == name)


def test_what_the_job_says_of_lengths_is_held_against_the_roof(measured):
    first, second = measured.tape.results
    assert (first.reading.of, first.verdict) == ("e17", "agree")
    assert (second.reading.of, second.verdict) == ("e4", "conflict")
    told = {warning["code"]: warning["text"] for warning in measured.record.warnings}
    assert "e99" in told["length_not_used"]
    assert "1 of 2 tape measurements contradict the roof: e4" in told["tape_conflict"]


def test_a_table_is_held_against_the_roof_beside_what_the_job_says(slopewright_, measured, folder):
    before = contents(folder)
    good = length_of(measured, "e18").value
    answer = slopewright_("tape", folder, table(folder, f"e18,{good + 0.01:.3f},m,laser", "e2,19' 1\",,tape"))
    assert answer.status == 0, answer.err
    assert "3 of 4 agree, 1 in conflict" in " ".join(answer.out.split())
    after = contents(folder)
    same = {name for name in before if after[name] == before[name]}
    assert same >= {
        "roof.json",
        "covariance.json",
        "state.json",
        "takeoff.json",
        "takeoff.csv",
        "plan.svg",
        "layout.json",
    }
    text = " ".join(page.extract_text() for page in PdfReader(folder / "report.pdf").pages)
    assert "Tape measurements beside the roof" in text and "CONFLICT" in text


def test_the_check_is_kept_by_later_commands_and_dropped_with_another_roof(slopewright_, measured, folder):
    slopewright_("tape", folder, table(folder, "e18,6.37,m,laser"))
    kept = (folder / "tape.json").read_bytes()
    for command in ("report", "takeoff"):
        assert slopewright_(command, folder, "-q").status == 0
        assert (folder / "tape.json").read_bytes() == kept, command
    roof = json.loads((folder / "roof.json").read_text())
    roof["planes"][0]["observed"] = 0.5
    (folder / "roof.json").write_text(json.dumps(roof))
    assert slopewright_("report", folder, "-q").status == 0
    assert not (folder / "tape.json").exists()
    warnings = json.loads((folder / "run.json").read_text())["warnings"]
    assert "tape_outdated" in [warning["code"] for warning in warnings]
    assert "tape_conflict" not in [warning["code"] for warning in warnings]


def test_adjusting_takes_the_readings_that_agree_and_narrows_the_bounds(slopewright_, measured, folder):
    eave = length_of(measured, "e3")
    rows = [f"e3,{eave.value + 0.02:.3f},m,steel tape", "e9,4.50,m,steel tape"]
    answer = slopewright_("tape", folder, table(folder, *rows), "--adjust", "--json")
    assert answer.status == 0, answer.err
    readings = {one["of"]: one for one in json.loads(answer.out)["readings"]}
    assert readings["e3"]["used"] and readings["e17"]["used"] and not readings["e9"]["used"]
    assert readings["e3"]["model_m"]["value"] == pytest.approx(eave.value)  # as it was before
    record = json.loads((folder / "run.json").read_text())
    assert record["corrections"] == 2
    roof = run.redraw(folder).roof
    after = next(edge.length for edge in roof.edges if edge.id == "e3")
    assert after.u < eave.u
    assert eave.value < after.value < eave.value + 0.02
    assert roof.area.u < measured.roof.area.u


def test_a_reading_is_used_once_however_often_it_is_told(slopewright_, measured, folder):
    eave = length_of(measured, "e3").value
    inches = (eave + 0.02) / 0.0254
    feet, sixteenths = int(inches // 12), round(inches % 12 * 16)
    again = table(folder, f"e3,{feet}' {sixteenths // 16} {sixteenths % 16}/16\",,steel tape")
    slopewright_("tape", folder, again, "--adjust")
    roof = (folder / "roof.json").read_bytes()
    answer = slopewright_("tape", folder, again, "--adjust", "--json")
    assert (folder / "roof.json").read_bytes() == roof
    readings = {one["of"]: one for one in json.loads(answer.out)["readings"]}
    assert (readings["e3"]["verdict"], readings["e3"]["used"]) == ("cannot_tell", True)
    assert "adjusted to this reading before" in readings["e3"]["reason"]


def test_a_correction_by_hand_is_held_against_the_readings_again(slopewright_, measured, folder):
    """Oracle: an eave's rakes grow when it is moved outward; a reading of one that agreed no longer does."""
    rake = length_of(measured, "e9").value
    slopewright_("tape", folder, table(folder, f"e9,{rake:.3f},m,steel tape"))
    eave = next(e for e in measured.roof.edges if e.kind == "eave" and e.planes == ("A",))
    result = run.amend(folder, [MoveBoundary(edge=eave.id, by_m=0.5)])
    by_name = {one.reading.of: one for one in result.tape.results}
    assert by_name["e9"].verdict == "conflict"


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("e98,3,m,laser", "tape.csv line 2: edge 'e98' is not of this roof"),
        ("e3,12.6,ft,tape", "tape.csv line 2: length '12.6' in ft can be"),
        ("e3,12,,tape", "tape.csv line 2: length '12' has no unit"),
    ],
)
def test_a_fault_in_the_table_writes_nothing(slopewright_, folder, row, message):
    before = contents(folder)
    answer = slopewright_("tape", folder, table(folder, row), "--adjust")
    assert answer.status == 2
    assert message in answer.err and len(answer.err.splitlines()) == 1
    assert contents(folder) == before


def test_a_missing_table_and_a_folder_that_is_no_run_are_said(slopewright_, folder, tmp_path):
    answer = slopewright_("tape", folder, tmp_path / "none.csv")
    assert answer.status == 2 and "none.csv: cannot be read" in answer.err
    answer = slopewright_("tape", tmp_path, table(folder, "e3,3,m,tape"))
    assert answer.status == 2 and "run.json" in answer.err
