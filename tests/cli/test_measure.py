"""The whole way through the command line, with a hand-made roof in place of edges and adjust.

Oracles: the contract of the run folder (files, keys, exit statuses), and byte equality between runs.
"""

import json
import shutil
import subprocess
import sys

import pytest
from pypdf import PdfReader
from small_clouds import gable_house, write_las, write_xyz

import slopewright.run
from report.hand_roofs import gable
from slopewright.certify import reasons_against
from slopewright.cli import main

FILES = {"roof.json", "covariance.json", "takeoff.json", "takeoff.csv", "roof.glb", "roof.obj", "plan.svg"}
FILES |= {"plan.dxf", "report.pdf", "roof.city.json", "run.json", "times.json", "layout.json"}
FILES |= {"courses/A.svg", "courses/B.svg", "cloud.laz"}
OF_CLOUDS = [stage for stage in slopewright.run.STAGES if stage != "reconstruct"]  # photos alone need it


@pytest.fixture
def job(tmp_path):
    folder = tmp_path / "house"
    folder.mkdir()
    write_las(folder / "cloud.laz", gable_house())
    (folder / "job.toml").write_text('[job]\nname = "Elm"\nunit = "m"\n[site]\nstoreys = 1\n')
    return folder


def contents(folder):
    """Bytes by file name; times are no part of the contract of equal bytes."""
    paths = [path for path in folder.rglob("*") if path.is_file() and path.name != "times.json"]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


def test_measuring_writes_every_file_and_says_how_much(slopewright_, calls, job):
    answer = slopewright_("measure", job)
    assert answer.status == 0, answer
    run = job.parent / "house.run"
    assert contents(run).keys() == FILES - {"times.json"}
    assert str(run) in answer.out
    assert answer.err == ""  # quiet in a pipe: no bars
    assert len(answer.out.splitlines()) <= 42, "the summary fits one screen"
    assert [path.name for path in job.parent.iterdir() if path.name.startswith(".")] == []


def test_the_record_names_inputs_options_and_files(slopewright_, calls, job):
    slopewright_("measure", job)
    run = job.parent / "house.run"
    record = json.loads((run / "run.json").read_text())
    assert (record["format"], record["version"], record["name"]) == ("slopewright-run", 1, "Elm")
    assert [digest["role"] for digest in record["inputs"]] == ["cloud", "system", "job"]
    assert record["options"]["unit"] == "m"
    assert set(record["files"]) == FILES
    assert set(record["configs"]) == {"isolate", "planes", "edges", "adjust"}
    assert str(job.parent) not in (run / "run.json").read_text(), "no path of this machine"
    assert set(json.loads((run / "times.json").read_text())["seconds"]) == set(OF_CLOUDS)


def test_measuring_again_with_force_gives_the_same_bytes(slopewright_, calls, job):
    run = job.parent / "house.run"
    slopewright_("measure", job)
    first = contents(run)
    assert slopewright_("measure", job, "--force").status == 0
    assert calls == ["edges", "adjust"] * 2
    assert contents(run) == first


def test_the_same_bytes_come_from_another_place(slopewright_, calls, job, tmp_path):
    elsewhere = tmp_path / "elsewhere" / "deep"
    elsewhere.mkdir(parents=True)
    shutil.copytree(job, elsewhere / "other name")
    slopewright_("measure", job)
    slopewright_("measure", elsewhere / "other name", "--out", tmp_path / "x.run")
    assert contents(tmp_path / "x.run") == contents(job.parent / "house.run")


def test_a_finished_run_is_not_repeated(slopewright_, calls, job):
    slopewright_("measure", job)
    answer = slopewright_("measure", job)
    assert answer.status == 0
    assert "held it already" in answer.out
    assert calls == ["edges", "adjust"]


def test_a_change_of_scope_repeats_only_what_hangs_on_it(slopewright_, calls, job):
    slopewright_("measure", job)
    roof = (job.parent / "house.run" / "roof.json").read_bytes()
    (job / "job.toml").write_text('[job]\nname = "Elm"\nunit = "m"\n[site]\nshingle_layers = 2\n')
    answer = slopewright_("measure", job, "--json")
    assert json.loads(answer.out)["repeated"] == ["takeoff", "report"]
    assert calls == ["edges", "adjust"]
    assert (job.parent / "house.run" / "roof.json").read_bytes() == roof


def test_another_unit_measures_again(slopewright_, calls, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house() * 1.5)
    slopewright_("measure", path, "--unit", "m")
    assert slopewright_("measure", path, "--unit", "ft").status == 0
    assert calls == ["edges", "adjust"] * 2


def test_another_place_or_footprint_measures_again(slopewright_, calls, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house())
    outline = tmp_path / "f.geojson"
    for n, ring in enumerate(
        ([[0, 0], [12, 0], [12, 8], [0, 8], [0, 0]], [[0, 0], [12, 0], [12, 7], [0, 0]])
    ):
        outline.write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}))
        for _ in range(2):
            answer = slopewright_("measure", path, "--unit", "m", "--footprint", outline)
            assert answer.status == 0, answer
        assert calls == ["edges", "adjust"] * (n + 1)
    for n, at in enumerate(((6, 4), (5, 3))):
        assert slopewright_("measure", path, "--unit", "m", "--at", *at).status == 0
        assert calls == ["edges", "adjust"] * (n + 3)


def test_a_tampered_roof_is_measured_again(slopewright_, calls, job):
    slopewright_("measure", job)
    path = job.parent / "house.run" / "roof.json"
    whole = path.read_bytes()
    path.write_bytes(whole.replace(b"gable", b"") + b"\n")
    slopewright_("measure", job)
    assert calls == ["edges", "adjust"] * 2
    assert path.read_bytes() == whole


def test_takeoff_again_gives_the_same_bytes_without_measuring(slopewright_, calls, job):
    slopewright_("measure", job)
    run = job.parent / "house.run"
    first = contents(run)
    shutil.rmtree(job)
    answer = slopewright_("takeoff", run)
    assert answer.status == 0
    assert calls == ["edges", "adjust"]
    assert contents(run) == first


def test_takeoff_with_a_system_of_ones_own(slopewright_, calls, job, tmp_path):
    slopewright_("measure", job)
    run = job.parent / "house.run"
    shipped = slopewright.run.Intent.of_record(
        slopewright.run.RunRecord.read(run), system=None, metric=None
    ).system_path
    mine = tmp_path / "mine.toml"
    mine.write_text(
        shipped.read_text(encoding="utf-8").replace('name = "composition-laminated"', 'name = "mine"')
    )
    assert slopewright_("takeoff", run, "--system", mine).status == 0
    assert json.loads((run / "takeoff.json").read_text())["system"] == "mine"
    answer = slopewright_("takeoff", run)
    assert (answer.status, answer.err.count("\n")) == (2, 1)
    assert "give that file again with --system" in answer.err


def test_the_report_again_gives_the_same_bytes(slopewright_, calls, job):
    slopewright_("measure", job)
    run = job.parent / "house.run"
    first = contents(run)
    for name in ("plan.svg", "roof.glb", "takeoff.csv"):
        (run / name).unlink()
    assert slopewright_("report", run).status == 0
    assert contents(run) == first


def test_a_report_is_in_the_units_of_its_run_or_in_those_asked_for(slopewright_, calls, job):
    """Oracle: Letter and squares in trade units, ISO 216's A4 (595 by 842 points) and m² in metric ones."""
    slopewright_("measure", job)
    run = job.parent / "house.run"
    for asked, unit, paper_pt in (
        ([], "squares", (612, 792)),
        (["--metric"], "m²", (595, 842)),
        ([], "m²", (595, 842)),
        (["--imperial"], "squares", (612, 792)),
    ):
        answer = slopewright_("report", run, *asked)
        assert unit in answer.out.splitlines()[0]
        page = PdfReader(run / "report.pdf").pages[0]
        assert [round(float(v)) for v in page.mediabox[2:]] == list(paper_pt)


def test_an_edited_roof_is_reported_as_edited_and_never_taken_for_measured(slopewright_, calls, job):
    """Oracle: the edit, a count of points, stays after report and takeoff and goes with a measuring."""
    slopewright_("measure", job)
    run = job.parent / "house.run"
    whole = (run / "roof.json").read_text()
    roof = json.loads(whole)
    roof["planes"][0]["points"] = 123456
    (run / "roof.json").write_text(json.dumps(roof))
    for command in ("report", "takeoff", "report"):
        answer = slopewright_(command, run, "--json")
        assert "edited" in [warning["code"] for warning in json.loads(answer.out)["warnings"]]
        assert "123456" in (run / "roof.json").read_text()
    answer = slopewright_("measure", job, "--json")
    assert json.loads(answer.out)["repeated"][0] == "read"
    assert (run / "roof.json").read_text() == whole


def test_json_is_one_object_with_the_totals_of_the_file(slopewright_, calls, job):
    answer = slopewright_("measure", job, "--json")
    (line,) = answer.out.splitlines()
    shown = json.loads(line)
    roof = json.loads((job.parent / "house.run" / "roof.json").read_text())
    assert shown["totals"] == roof["totals"]
    assert shown["certified"] is True
    assert set(shown["files"]) == FILES


def test_warnings_are_told_again_when_the_folder_holds_the_run_already(slopewright_, calls, job):
    first = json.loads(slopewright_("measure", job, "--json").out)
    again = json.loads(slopewright_("measure", job, "--json").out)
    assert again["warnings"] == first["warnings"]
    assert "no_coverage_decision" in [warning["code"] for warning in first["warnings"]]
    shown = [slopewright_("measure", job, *force).out for force in (["--force"], [])]
    assert shown[0].splitlines()[:-1] == shown[1].splitlines()[:-1]


def test_quiet_says_nothing(slopewright_, calls, job):
    assert slopewright_("measure", job, "-q") == type(slopewright_("measure", job, "-q"))(0, "", "")


def test_verbose_shows_the_times_of_the_stages(slopewright_, calls, job):
    answer = slopewright_("measure", job, "-v")
    assert [line.split()[0] for line in answer.err.splitlines()] == OF_CLOUDS


def test_other_roofs_are_named_with_a_point_to_ask_for(slopewright_, calls, tmp_path):
    """Oracle: the second house stands at x 40 to 52, so a point in it has such an x."""
    import numpy as np

    two = np.concatenate([gable_house(length=16.0), gable_house(at=(40.0, 0.0), margin=0.0)])
    path = write_xyz(tmp_path / "two.xyz", two)
    answer = slopewright_("measure", path, "--unit", "m", "--json")
    assert answer.status == 0, answer
    (other,) = json.loads(answer.out)["other_roofs"]
    assert 40 <= other["at"][0] <= 52
    again = slopewright_(
        "measure", path, "--unit", "m", "--at", *other["at"], "--json", "--out", tmp_path / "b"
    )
    assert json.loads(again.out)["chosen"] == other["id"]


def test_a_roof_too_uncertain_is_written_and_not_certified(slopewright_, calls, job, monkeypatch):
    monkeypatch.setattr("slopewright.certify.MAX_AREA_HALF_WIDTH", 1e-6)
    answer = slopewright_("measure", job)
    assert answer.status == 3
    (line,) = answer.err.splitlines()
    assert line.startswith("slopewright: not certified: total area is known to ±")
    assert (job.parent / "house.run" / "roof.json").exists()
    assert slopewright_("measure", job).status == 3, "nor when the folder is read again"


def test_a_roof_that_was_hardly_seen_is_not_certified():
    hidden = gable(observed={"A": 0.3, "B": 0.6})
    (reason,) = reasons_against(hidden)
    assert reason == "45% of the roof was seen, need 50% or more"
    assert reasons_against(gable(observed={"A": 0.5, "B": 0.6})) == []


def test_bars_by_stage_are_drawn_on_a_terminal(slopewright_, calls, job, monkeypatch):
    """The last frame holds every stage; the summary comes after the bars are gone."""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    monkeypatch.setenv("FORCE_COLOR", "1")
    answer = slopewright_("measure", job)
    assert answer.status == 0
    for stage in slopewright.run.STAGES:
        assert stage in answer.err
    assert "read" not in answer.out.split("Files:")[0].split()
    monkeypatch.undo()


def test_a_stage_that_refuses_to_certify_gives_status_3(slopewright_, calls, job, monkeypatch):
    from slopewright.errors import NotCertifiedError

    def refuse(*_):
        raise NotCertifiedError("checks failed")

    monkeypatch.setattr(slopewright.run.adjust, "run", refuse)
    answer = slopewright_("measure", job)
    assert (answer.status, answer.err) == (3, "slopewright: not certified: checks failed\n")


def test_an_internal_failure_is_one_line_and_leaves_no_folder(slopewright_, calls, job, monkeypatch):
    def fail(*_):
        raise ZeroDivisionError("a slip\nof ours")

    monkeypatch.setattr(slopewright.run.adjust, "run", fail)
    answer = slopewright_("measure", job)
    assert answer.status == 1
    (line,) = answer.err.splitlines()
    assert "internal failure, ZeroDivisionError: a slip of ours; run again with -v for details" in line
    assert not (job.parent / "house.run").exists()
    verbose = slopewright_("measure", job, "-v")
    assert verbose.status == 1
    assert "Traceback" in verbose.err


def test_an_interruption_leaves_no_folder(slopewright_, calls, job, monkeypatch):
    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(slopewright.run.adjust, "run", interrupt)
    assert slopewright_("measure", job).status == 130
    assert [path.name for path in job.parent.iterdir()] == ["house"]


@pytest.mark.parametrize("command", ["measure", "takeoff", "report", "demo"])
def test_every_command_has_help_with_an_example(slopewright_, command):
    answer = slopewright_(command, "--help")
    assert answer.status == 0
    assert "Example" in answer.out
    for option in ("--json", "--quiet", "--verbose"):
        assert option in answer.out


def test_help_imports_nothing_heavy():
    """Start-up: a heavy import would show among the modules, whatever the speed of this machine."""
    code = (
        "import sys; from slopewright.cli import main; main(['--help']);"
        "print([m for m in ('numpy', 'scipy', 'pydantic', 'shapely', 'rich', 'laspy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_version_is_the_packages():
    from slopewright import __version__

    with pytest.MonkeyPatch.context() as patch:
        import io

        out = io.StringIO()
        patch.setattr("sys.stdout", out)
        assert main(["--version"]) == 0
    assert out.getvalue() == f"slopewright {__version__}\n"


def test_drawings_and_pages_come_from_the_two_files_alone(slopewright_, calls, job):
    slopewright_("measure", job)
    run, bare = job.parent / "house.run", job.parent / "bare"
    bare.mkdir()
    for name in ("roof.json", "takeoff.json"):
        shutil.copy(run / name, bare / name)
    for _ in range(2):  # the second time from the run.json that the first one wrote
        answer = slopewright_("report", bare)
        assert answer.status == 0, answer
        for name in ("roof.json", "takeoff.json", "takeoff.csv", "roof.glb", "roof.obj"):
            assert (bare / name).read_bytes() == (run / name).read_bytes(), name
        assert {"plan.svg", "plan.dxf", "report.pdf", "roof.city.json"} <= {
            path.name for path in bare.iterdir()
        }
        told = {warning["code"] for warning in json.loads((bare / "run.json").read_text())["warnings"]}
        assert "no_record" in told


def test_one_of_the_two_files_is_no_run_folder(slopewright_, calls, job):
    slopewright_("measure", job)
    (job.parent / "house.run" / "run.json").unlink()
    (job.parent / "house.run" / "takeoff.json").unlink()
    answer = slopewright_("report", job.parent / "house.run")
    assert answer.status == 2 and "not a run folder" in answer.err
