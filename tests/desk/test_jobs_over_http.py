"""Jobs, their forms and their files over HTTP.  Oracles: the bytes sent; tomllib; the job's own loader."""

import shutil
import tomllib

import pytest

from desk.served import SAMPLE, serving
from slopewright.job import load_job

CLOUD = (SAMPLE / "cloud.laz").read_bytes()


def form_of(page, job):
    return page.client.get(f"/api/jobs/{job}").json()["form"]


def put_form(page, job, content):
    return page.client.put(f"/api/jobs/{job}/form", json={"content": content})


def test_a_new_job_is_a_folder_that_the_command_line_takes(page):
    job = page.new_job("Müller & Söhne, Elm St. 12")
    assert job == "muller-sohne-elm-st-12"
    assert page.put(job, "cloud.laz", CLOUD).json() == {"received": len(CLOUD)}
    loaded = load_job(page.places.root / job)
    assert loaded.name == "Müller & Söhne, Elm St. 12" and loaded.cloud_path.read_bytes() == CLOUD
    assert page.client.get(f"/api/jobs/{job}").json()["problem"] == ""


def test_a_name_that_exists_or_says_nothing_is_refused(page):
    page.new_job("Oak 1")
    for name, said in (("oak 1", "exists"), ("  ", "name"), ("///", "name")):
        answer = page.client.post("/api/jobs", json={"name": name})
        assert answer.status_code == 422 and said in answer.json()["text"]
    assert page.client.post("/api/jobs", json={"name": "con"}).json()["id"] == "job-con"


def test_an_empty_job_says_what_it_needs(page):
    job = page.new_job("Empty")
    problem = page.client.get(f"/api/jobs/{job}").json()["problem"]
    assert "cloud" in problem and str(page.places.root) not in problem


def test_an_upload_goes_on_from_what_arrived(page):
    job = page.new_job("Resumed")
    half = len(CLOUD) // 2
    assert page.put(job, "c.laz", CLOUD[:half], size=len(CLOUD)).json() == {"received": half}
    place = f"/api/jobs/{job}/uploads/c.laz?size={len(CLOUD)}"
    assert page.client.get(place).json() == {"received": half}
    wrong = page.put(job, "c.laz", CLOUD[10:], size=len(CLOUD), offset=10)
    assert wrong.status_code == 409 and wrong.json()["received"] == half
    assert not (page.places.root / job / "c.laz").exists()
    assert page.put(job, "c.laz", CLOUD[half:], size=len(CLOUD), offset=half).status_code == 200
    assert (page.places.root / job / "c.laz").read_bytes() == CLOUD


def test_a_file_is_replaced_only_when_that_is_said(page):
    job = page.new_job("Twice")
    page.put(job, "c.laz", CLOUD)
    other = CLOUD + b"!"
    answer = page.put(job, "c.laz", other)
    assert answer.status_code == 422 and "already" in answer.json()["text"]
    assert (page.places.root / job / "c.laz").read_bytes() == CLOUD
    assert page.put(job, "c.laz", other, replace=True).status_code == 200
    assert (page.places.root / job / "c.laz").read_bytes() == other


def test_the_form_is_job_toml_and_keeps_its_comments(page):
    job = page.new_job("Form")
    page.put(job, "cloud.laz", CLOUD)
    page.put(job, "job.toml", (SAMPLE / "job.toml").read_bytes(), replace=True)
    form = form_of(page, job)
    form["site"]["storeys"] = 3
    form["counts"]["skylights"] = 2
    ends = [[0, 0, 0], [1.5, 0, 0]]
    staff = {"name": 'the "staff"', "between": ends, "length": 1.5, "unit": "m", "u": 0.002}
    form["reference"] = [staff]
    assert put_form(page, job, form).json()["form"] == form_of(page, job)
    text = (page.places.root / job / "job.toml").read_text()
    written = tomllib.loads(text)
    assert written["site"]["storeys"] == 3 and written["counts"]["skylights"] == 2
    assert written["reference"][0]["name"] == 'the "staff"'
    before = tomllib.loads((SAMPLE / "job.toml").read_text())
    assert written["site"] == before["site"] | {"storeys": 3}
    for comment in ("# An invented house", "# what a person on site knows", "# seen on site"):
        assert comment in text
    assert len(load_job(page.places.root / job).lengths) == 1


def test_an_unchanged_form_changes_no_byte(page):
    job = page.new_job("Same")
    page.put(job, "job.toml", (SAMPLE / "job.toml").read_bytes(), replace=True)
    assert put_form(page, job, form_of(page, job)).status_code == 200
    assert (page.places.root / job / "job.toml").read_bytes() == (SAMPLE / "job.toml").read_bytes()


def test_what_is_taken_out_of_a_form_is_taken_out_of_the_file(page):
    job = page.new_job("Out")
    page.put(job, "job.toml", (SAMPLE / "job.toml").read_bytes(), replace=True)
    form = form_of(page, job)
    form["site"]["storeys"] = None
    del form["counts"]["chimneys"]
    put_form(page, job, form)
    written = tomllib.loads((page.places.root / job / "job.toml").read_text())
    assert "storeys" not in written["site"] and "chimneys" not in written["counts"]
    assert written["counts"]["roof_vents"] == 3


@pytest.mark.parametrize(
    ("where", "value", "field", "said"),
    [
        (("site", "storeys"), 99, "site.storeys", "1 to 10"),
        (("site", "storeys"), "two", "site.storeys", "two"),
        (("job", "unit"), "yards", "job.unit", "us-ft"),
        (("counts", "pipe_boots"), -1, "counts.pipe_boots", "0 or more"),
        (("site", "colour"), "red", "site.colour", "unknown"),
    ],
)
def test_a_field_that_cannot_be_taken_is_named_and_the_file_stays(page, where, value, field, said):
    job = page.new_job(f"Fault {field} {value}")
    path = page.places.root / job / "job.toml"
    before = path.read_bytes()
    form = form_of(page, job)
    form[where[0]][where[1]] = value
    answer = put_form(page, job, form)
    assert answer.status_code == 422
    assert answer.json()["field"] == field and said in answer.json()["text"]
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"[job", b"[job]\nnmae = 1\n", b"\xff\xfe"])
def test_a_job_toml_that_is_none_does_not_get_in(page, content):
    job = page.new_job(f"Bad toml {content[:9]!r}")
    before = (page.places.root / job / "job.toml").read_bytes()
    answer = page.put(job, "job.toml", content, replace=True)
    assert answer.status_code == 422 and "job.toml" in answer.json()["text"]
    assert (page.places.root / job / "job.toml").read_bytes() == before


def test_a_deleted_job_comes_back_whole(page):
    job = page.new_job("Gone")
    page.put(job, "cloud.laz", CLOUD)
    run = page.places.root / f"{job}.run"
    run.mkdir()
    (run / "run.json").write_text("{}")
    token = page.client.delete(f"/api/jobs/{job}").json()["restore"]
    assert job not in [line["id"] for line in page.client.get("/api/jobs").json()]
    assert not run.exists()
    assert page.client.post(f"/api/deleted/{token}/restore").json() == {"id": job}
    assert (page.places.root / job / "cloud.laz").read_bytes() == CLOUD and (run / "run.json").exists()
    assert page.client.post(f"/api/deleted/{token}/restore").status_code == 422


def test_a_deleted_job_does_not_push_a_new_one_of_its_name_aside(page):
    job = page.new_job("Name taken")
    token = page.client.delete(f"/api/jobs/{job}").json()["restore"]
    assert page.new_job("Name taken") == job
    answer = page.client.post(f"/api/deleted/{token}/restore")
    assert answer.status_code == 422 and job in answer.json()["text"]


def test_two_hundred_photos_at_once(page):
    from concurrent.futures import ThreadPoolExecutor

    job = page.new_job("Flight")
    photo = b"\xff\xd8\xff\xe0" + bytes(40_000)
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda i: page.put(job, f"drone_{i:03}.jpg", photo), range(200)))
    assert all(answer.status_code == 200 for answer in answers)
    line = next(one for one in page.client.get("/api/jobs").json() if one["id"] == job)
    assert line["photos"] == 200 and line["n_bytes"] >= 200 * len(photo)


def test_jobs_made_by_hand_are_listed_too(tmp_path):
    shutil.copytree(SAMPLE, tmp_path / "jobs" / "by-hand")
    with serving(tmp_path / "jobs") as page:
        (line,) = page.client.get("/api/jobs").json()
    assert line["id"] == "by-hand" and line["clouds"] == 1 and line["name"].startswith("Sample house")
