"""Bad input gets one line that names the file and the way out, status 2, and no run folder.

Oracle: the list of the project's second issue; each case is one line of it.
"""

import json

import numpy as np
import pytest
from pyproj import CRS
from small_clouds import floor, gable_house, lawn, sphere, write_las, write_xyz


def refused(slopewright_, folder, *arguments, words):
    """Measure, expect one line with the words, and nothing new in the folder."""
    before = sorted(folder.rglob("*"))
    answer = slopewright_("measure", *arguments)
    assert answer.status == 2, answer
    assert answer.out == ""
    (line,) = answer.err.splitlines()
    assert line.startswith("slopewright: ")
    for word in words:
        assert word in line
    assert "Traceback" not in line
    assert sorted(folder.rglob("*")) == before
    return line


def test_a_missing_file(slopewright_, tmp_path):
    refused(slopewright_, tmp_path, tmp_path / "none.laz", words=["none.laz", "no such file"])


def test_an_empty_file(slopewright_, tmp_path):
    (tmp_path / "empty.laz").write_bytes(b"")
    refused(slopewright_, tmp_path, tmp_path / "empty.laz", words=["empty.laz", "empty file"])


@pytest.mark.parametrize("keep", [0.3, 0.9, 0.999])
def test_a_truncated_laz(slopewright_, tmp_path, keep):
    path = write_las(tmp_path / "cut.laz", gable_house())
    whole = path.read_bytes()
    path.write_bytes(whole[: int(keep * len(whole))])
    refused(slopewright_, tmp_path, path, "--unit", "m", words=["cut.laz"])


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_coordinates_that_are_not_finite(slopewright_, tmp_path, bad):
    points = gable_house()
    points[100, 2] = bad
    path = write_xyz(tmp_path / "bad.xyz", points)
    refused(slopewright_, tmp_path, path, "--unit", "m", words=["bad.xyz", "NaN or infinite", "line 101"])


def test_all_points_on_a_line(slopewright_, tmp_path):
    path = write_xyz(tmp_path / "line.xyz", np.outer(np.arange(500) / 10, [1.0, 2.0, 0.5]))
    refused(slopewright_, tmp_path, path, "--unit", "m", words=["line.xyz", "line"])


def test_ten_points(slopewright_, tmp_path):
    path = write_xyz(tmp_path / "ten.xyz", gable_house()[:10])
    refused(slopewright_, tmp_path, path, "--unit", "m", words=["ten.xyz", "10 points"])


@pytest.mark.parametrize("shape", [lawn, sphere])
def test_no_roof_in_it(slopewright_, tmp_path, shape):
    path = write_xyz(tmp_path / "scan.xyz", shape())
    refused(slopewright_, tmp_path, path, "--unit", "m", words=["scan.xyz", "roof"])


def test_a_level_surface_that_may_be_a_floor_is_measured_and_not_certified(slopewright_, tmp_path):
    """A flat roof that was cut out looks the same: status 3, with the reason."""
    path = write_xyz(tmp_path / "scan.xyz", floor())
    answer = slopewright_("measure", path, "--unit", "m")
    assert answer.status == 3
    assert "may be a floor or a lawn" in answer.err
    assert "--footprint" in answer.err


def test_no_unit_in_the_file(slopewright_, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house())
    refused(slopewright_, tmp_path, path, words=["a.xyz", "unit", "--unit m, ft or us-ft"])


def test_an_unknown_unit(slopewright_, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house())
    refused(slopewright_, tmp_path, path, "--unit", "yard", words=["unit", "yard", "m, ft or us-ft"])


def test_an_unknown_unit_in_the_job(slopewright_, tmp_path):
    write_xyz(tmp_path / "a.xyz", gable_house())
    (tmp_path / "job.toml").write_text('[job]\nunit = "yard"')
    refused(slopewright_, tmp_path, tmp_path, words=["job.toml", "[job] unit", '"yard"', '"us-ft"'])


def test_a_dolls_house(slopewright_, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house() * 0.02)
    refused(slopewright_, tmp_path, path, "--unit", "m", words=["a.xyz", "in unit m"])


def test_a_stadium(slopewright_, tmp_path):
    """A hall of 60 x 40 m in feet, read as metres, would be 197 m long."""
    path = write_xyz(tmp_path / "a.xyz", gable_house(length=60.0, width=40.0, margin=20.0) / 0.3048)
    refused(slopewright_, tmp_path, path, "--unit", "m", words=["a.xyz", "in unit m is no house"])


def test_inches_read_as_metres_say_how_large_that_is(slopewright_, tmp_path):
    """12 m and 10 m of lawn at both ends are 1260 in."""
    path = write_xyz(tmp_path / "a.xyz", gable_house() / 0.0254)
    refused(slopewright_, tmp_path, path, "--unit", "m", words=["a.xyz", "read in m, the cloud is 1,2"])


def test_millimetres_are_named(slopewright_, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house() * 1000)
    refused(slopewright_, tmp_path, path, "--unit", "m", words=["a.xyz", "likely mm"])


def test_a_crs_in_degrees(slopewright_, tmp_path):
    points = gable_house() / (70_000, 111_000, 1) + (10.0, 50.0, 0)
    path = write_las(tmp_path / "deg.las", points, crs=CRS.from_epsg(4326), scale=1e-8)
    refused(slopewright_, tmp_path, path, words=["deg.las", "degree"])


def test_web_mercator(slopewright_, tmp_path):
    points = gable_house(at=(1_113_000.0, 6_446_000.0))
    path = write_las(tmp_path / "web.las", points, crs=CRS.from_epsg(3857))
    refused(slopewright_, tmp_path, path, words=["web.las", "3857"])


def test_an_unknown_key_in_the_job(slopewright_, tmp_path):
    write_xyz(tmp_path / "a.xyz", gable_house())
    (tmp_path / "job.toml").write_text('[job]\nunit = "m"\n[site]\nstory = 2')
    refused(slopewright_, tmp_path, tmp_path, words=["job.toml", "[site] story", "did you mean storeys?"])


def test_an_unknown_system(slopewright_, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house())
    refused(slopewright_, tmp_path, path, "--system", "slates", words=["slates", "composition-laminated"])


def test_a_folder_that_cannot_be_written(slopewright_, calls, tmp_path):
    """A path below a plain file: not even the superuser can write there."""
    path = write_xyz(tmp_path / "a.xyz", gable_house())
    run = path / "deep" / "a.run"
    refused(
        slopewright_,
        tmp_path,
        path,
        "--unit",
        "m",
        "--out",
        run,
        words=["a.run", "cannot be written", "--out"],
    )
    assert calls == []


def test_an_existing_folder_of_something_else(slopewright_, calls, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house())
    (tmp_path / "a.run").mkdir()
    (tmp_path / "a.run" / "letter.txt").write_text("keep me")
    for force in ([], ["--force"]):
        words = ["a.run", "not a run folder", "--out"]
        refused(slopewright_, tmp_path, path, "--unit", "m", *force, words=words)
    assert (tmp_path / "a.run" / "letter.txt").read_text() == "keep me"
    assert calls == []


def test_an_existing_run_of_another_cloud(slopewright_, calls, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house())
    assert slopewright_("measure", path, "--unit", "m").status == 0
    write_xyz(path, gable_house(length=14.0))
    words = ["a.run", "holds a run of a.xyz", "--force"]
    refused(slopewright_, tmp_path, path, "--unit", "m", words=words)
    assert slopewright_("measure", path, "--unit", "m", "--force").status == 0


def test_a_point_outside_the_cloud(slopewright_, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house())
    refused(slopewright_, tmp_path, path, "--unit", "m", "--at", 500, 5, words=["--at 500 5", "spans x"])


def test_a_footprint_in_degrees(slopewright_, tmp_path):
    path = write_xyz(tmp_path / "a.xyz", gable_house(at=(500_000.0, 5_400_000.0)))
    ring = [[9.0, 48.7], [9.001, 48.7], [9.001, 48.701], [9.0, 48.7]]
    (tmp_path / "f.geojson").write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}))
    words = ["f.geojson", "degrees"]
    refused(slopewright_, tmp_path, path, "--unit", "m", "--footprint", tmp_path / "f.geojson", words=words)


def test_a_scope_that_the_roof_does_not_have_leaves_no_folder(slopewright_, calls, tmp_path):
    """Found only after the measuring: the folder must not appear then either."""
    write_xyz(tmp_path / "a.xyz", gable_house())
    (tmp_path / "job.toml").write_text('[job]\nunit = "m"\n[scope]\nplanes = ["Q"]')
    run = tmp_path / "q.run"
    refused(slopewright_, tmp_path, tmp_path, "--out", run, words=["job.toml", "[scope] planes", "'Q'"])
    assert calls == ["edges", "adjust"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["measure"], ["Missing argument 'INPUT'", "slopewright measure --help"]),
        (["measure", "a.laz", "--unti", "m"], ["No such option", "--unit"]),
        (["measure", "a.laz", "--at", "1"], ["--at"]),
        (["mesure", "a.laz"], ["No such command 'mesure'", "slopewright --help"]),
        (["takeoff", "none.run"], ["none.run", "not a run folder"]),
    ],
)
def test_a_wrong_call_is_one_line_too(slopewright_, arguments, words):
    answer = slopewright_(*arguments)
    assert (answer.status, answer.out) == (2, "")
    (line,) = answer.err.splitlines()
    for word in words:
        assert word in line


def test_errors_are_json_for_machines(slopewright_, tmp_path):
    answer = slopewright_("measure", tmp_path / "none.laz", "--json")
    assert answer.status == 2
    error = json.loads(answer.out)["error"]
    assert (error["status"], error["kind"]) == (2, "InputError")
    assert "none.laz" in error["message"]
