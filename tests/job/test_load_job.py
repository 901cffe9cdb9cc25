"""job.toml and job folders.  Oracle throughout: the contract of the job file, as README.md states it."""

import math
from pathlib import Path

import pytest

from slopewright.errors import InputError
from slopewright.job import load_job


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "elm street"
    made.mkdir()
    (made / "roof.laz").write_bytes(b"not read here")
    return made


def fault(folder: Path, text: str) -> str:
    (folder / "job.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_job(folder)
    message = str(caught.value)
    assert "\n" not in message
    assert str(folder / "job.toml") in message
    return message.split("job.toml: ", 1)[1]


def test_a_full_job_file_reaches_the_takeoff_request(folder):
    (folder / "job.toml").write_text(
        """
        [job]
        name = "12 Elm Street"
        unit = "us-ft"
        [[tape]]
        edge = "e3"
        length = 10
        unit = "ft"
        u = 0.02
        how = "steel tape from the ladder"
        [site]
        storeys = 2
        shingle_layers = 2
        felt_layers = 1
        deck = "spaced"
        ice_barrier = true
        overhang_m = 0.4
        region = "snow"
        [scope]
        planes = ["A", "B"]
        retained = ["gutters"]
        by_others = ["flue"]
        excluded = ["deck"]
        code_items = ["drip_edge"]
        [counts]
        pipe_boots = 3
        [system]
        name = "composition"
        """
    )
    job = load_job(folder)
    assert (job.name, job.unit, job.system) == ("12 Elm Street", "us-ft", "composition")
    assert job.cloud_path == folder / "roof.laz"
    assert job.default_run == folder.parent / "elm street.run"
    site, scope = job.request.site, job.request.scope
    assert (site.storeys, site.shingle_layers, site.felt_layers, site.deck) == (2, 2, 1, "spaced")
    assert (site.ice_barrier, site.overhang_m, site.region) == (True, 0.4, "snow")
    assert (scope.planes, scope.retained, scope.by_others) == (("A", "B"), ("gutters",), ("flue",))
    assert (scope.excluded, scope.code_items) == (("deck",), ("drip_edge",))
    assert job.request.counts == {"pipe_boots": 3}
    assert job.lengths[0].length_m == pytest.approx(3.048)  # NIST SP 811: 1 ft = 0.3048 m


def test_a_cloud_file_alone_is_a_job(tmp_path):
    path = tmp_path / "house.copc.laz"
    path.write_bytes(b"")
    job = load_job(path)
    assert (job.name, job.default_run) == ("house", tmp_path / "house.run")


def test_a_folder_without_a_job_file_is_a_job(folder):
    assert load_job(folder).job_path is None


def test_a_note_beside_the_cloud_is_not_a_second_cloud(folder):
    (folder / "licence.txt").write_text("CC0")
    (folder / "tape.csv").write_text("edge,length\n")
    assert load_job(folder).cloud_path.name == "roof.laz"


def test_a_text_cloud_counts_where_there_is_no_other(folder):
    (folder / "roof.laz").rename(folder / "roof.csv")
    assert load_job(folder).cloud_path.name == "roof.csv"


def test_several_clouds_are_named(folder):
    (folder / "b.ply").write_bytes(b"")
    with pytest.raises(InputError, match=r"2 clouds in one job \(b\.ply, roof\.laz\), need one"):
        load_job(folder)


def test_an_empty_folder_has_nothing_to_measure(tmp_path):
    with pytest.raises(InputError, match="no cloud and no photos in this folder"):
        load_job(tmp_path)


@pytest.mark.parametrize("name", ["drone_001.JPG", "a.heic", "b.png"])
def test_one_photo_is_sent_to_its_own_command(tmp_path, name):
    (tmp_path / name).write_bytes(b"")
    with pytest.raises(InputError, match="slopewright photo --help"):
        load_job(tmp_path / name)


PHOTO_JOB = """
[[reference]]
name = "staff"
between = ["staff_a", "staff_b"]
length = 6.0
unit = "ft"
u = 0.01

[[reference]]
board = {dictionary = "APRILTAG_36h11", ids = [7, 8], distance = 6.1}
unit = "m"
u = 0.003

[[tape]]
between = ["eave_a", "eave_b"]
length = 12.5
unit = "m"
u = 0.01
"""


def photo_folder(folder):
    for name in ("b.JPG", "a.jpg", "notes.txt", "marks.json"):
        (folder / name).write_bytes(b"")
    return folder


def test_photos_make_a_job_with_their_marks_and_known_lengths(tmp_path):
    """Oracle: the contract of a job's inputs; NIST SP 811, 1 ft = 0.3048 m."""
    folder = photo_folder(tmp_path)
    (folder / "job.toml").write_text(PHOTO_JOB, encoding="utf-8")
    job = load_job(folder)
    assert job.cloud is None
    assert [path.name for path in job.photos] == ["a.jpg", "b.JPG"]
    assert job.marks_path == folder / "marks.json"
    staff, boards, tape = job.known
    assert staff.marks == ("staff_a", "staff_b") and math.isclose(staff.length_m, 6 * 0.3048)
    assert boards.boards == (7, 8) and boards.length_m == 6.1 and not boards.check_only
    assert tape.check_only and tape.marks == ("eave_a", "eave_b")


@pytest.mark.parametrize(
    ("old", "new", "start"),
    [
        (
            '["staff_a", "staff_b"]',
            "[[0, 0, 7], [3, 4, 7]]",
            "[[reference]] 1 between: points are of a cloud",
        ),
        ('["staff_a", "staff_b"]', '["staff_a", "staff_a"]', "[[reference]] 1 between: got"),
        ("APRILTAG_36h11", "ARUCO_4X4", '[[reference]] 2 board: dictionary: got "ARUCO_4X4"'),
        ("[7, 8]", "[7, 7]", "[[reference]] 2 board: ids: got [7, 7]"),
    ],
)
def test_a_known_length_of_photos_is_checked(tmp_path, old, new, start):
    assert fault(photo_folder(tmp_path), PHOTO_JOB.replace(old, new)).startswith(start)


@pytest.mark.parametrize(
    ("text", "start"),
    [
        ("[site]\nstorey = 2", "[site] storey: unknown key, did you mean storeys? (allowed: storeys, "),
        ("[sight]\nstoreys = 2", "sight: unknown table or key, did you mean site? (allowed: job, "),
        ('unit = "m"', "unit: unknown table or key, it belongs in [job]"),
        ("site = 3", "[site]: got 3, need a table"),
        ('[job]\nunit = "feet"', '[job] unit: got "feet", need "m", "ft" or "us-ft"'),
        ('[site]\nstoreys = "two"', '[site] storeys: got "two", need a whole number from 1 to 10'),
        ("[site]\nstoreys = 2.5", "[site] storeys: got 2.5, need a whole number"),
        ("[site]\nstoreys = true", "[site] storeys: got true, need a whole number"),
        ('[site]\nice_barrier = "yes"', '[site] ice_barrier: got "yes", need true or false'),
        ('[site]\ndeck = "tin"', '[site] deck: got "tin", need "solid" or "spaced"'),
        ('[scope]\nplanes = ["A", 3]', "[scope] planes: got 3, need a list of planes"),
        ("[counts]\npipe_boots = -3", "[counts] pipe_boots: got -3, need a whole number, 0 or more"),
        ("[system]", "[system] name: missing, need a text in quotes"),
        ('[[tape]]\nedge = "e3"\nlength = 3\nunit = "m"', "[[tape]] 1 u: missing, need a number above 0"),
        ('[[tape]]\nlength = 3\nunit = "m"\nu = 1', "[[tape]] 1: need either between or edge"),
        (
            '[[tape]]\nedge = "e"\nlength = inf\nunit = "m"\nu = 1',
            "[[tape]] 1 length: got inf, need a number",
        ),
        ("[site", "not valid TOML: "),
    ],
)
def test_a_wrong_key_or_value_is_named_with_what_is_allowed(folder, text, start):
    assert fault(folder, text).startswith(start)


REFERENCE = '[[reference]]\nname = "staff"\n{}\nunit = "ft"\nu = 0.01\n'


@pytest.mark.parametrize(
    ("body", "start"),
    [
        ('between = ["a", "b"]\nlength = 6', "[[reference]] 1 between: marks need photos"),
        ("between = [[1, 2, 3], [4, 5]]\nlength = 6", "[[reference]] 1 between: got "),
        ("between = [[1, 2, 3], [1, 2, 3]]\nlength = 6", "[[reference]] 1 between: got "),
        ("between = [[1, 2, 3], [1, 2, nan]]\nlength = 6", "[[reference]] 1 between: got "),
        ("between = [[1, 2, 3], [1, 2, 4]]", "[[reference]] 1: need length with between"),
        ("length = 6", "[[reference]] 1: need either between or board"),
        ('board = {dictionary = "D", ids = [7], sides = 1}', "[[reference]] 1 board sides: unknown key"),
        (
            'board = {dictionary = "D", ids = [7, 8], side = 1}',
            "[[reference]] 1 board: need one id with side",
        ),
        ('board = {dictionary = "D", ids = [7], side = 1}', "[[reference]] 1 board: targets need photos"),
    ],
)
def test_a_reference_is_checked_in_full(folder, body, start):
    assert fault(folder, REFERENCE.format(body)).startswith(start)


def test_a_reference_is_read_in_metres(folder):
    """Oracle: NIST SP 811, 1 ft = 0.3048 m."""
    (folder / "job.toml").write_text(REFERENCE.format("between = [[0, 0, 7], [3, 4, 7]]\nlength = 6"))
    (length,) = load_job(folder).lengths
    assert math.isclose(length.length_m, 6 * 0.3048) and math.isclose(length.u_m, 0.01 * 0.3048)


def test_a_file_that_is_not_utf8_is_refused(folder):
    (folder / "job.toml").write_bytes(b'[job]\nname = "caf\xe9"')
    with pytest.raises(InputError, match=r"job\.toml: not UTF-8"):
        load_job(folder)


def test_a_system_file_is_found_beside_the_job(folder):
    (folder / "job.toml").write_text('[system]\nname = "mine.toml"')
    assert load_job(folder).system == str((folder / "mine.toml").resolve())
