"""A measured job over HTTP.  Oracles: the run folder of the command line's own functions; counts of bytes."""

import json
import shutil

import pytest

from slopewright import run


@pytest.fixture
def house(working):
    """The measured house, as it was measured: corrections of a test are taken back."""
    yield working
    while working.client.get("/api/jobs/house/roof").json()["journal"]:
        assert working.client.post("/api/jobs/house/undo").status_code == 200


def roof_of(page):
    return page.client.get("/api/jobs/house/roof").json()


def longest(roof, kind):
    return max((e for e in roof["edges"] if e["kind"] == kind), key=lambda e: e["length"]["value"])


def test_desk_and_command_line_make_the_same_run_folder(house, tmp_path):
    """Oracle: the same bytes from run.measure on a copy of the job."""
    root = house.places.root
    shutil.copytree(root / "house", tmp_path / "house")
    by_command = run.measure(tmp_path / "house").folder
    for name in ("roof.json", "state.json", "takeoff.json", "plan.svg", "roof.glb"):
        assert (root / "house.run" / name).read_bytes() == (by_command / name).read_bytes()


def test_stages_are_told_in_their_order_and_all_end(house):
    told = house.client.get("/api/jobs/house").json()["run"]
    expected = [stage for stage in run.STAGES if stage != "reconstruct"]  # that is for photos
    assert [stage["name"] for stage in told["log"]] == [*expected, "view"] == told["stages"]
    assert all(stage["ended"] >= stage["began"] for stage in told["log"])


def test_points_lie_round_the_roof_in_its_own_frame(house):
    """Oracle: the corners of roof.json; most of the points are within noise of one of its planes."""
    import numpy as np

    answer = house.client.get("/api/jobs/house/points")
    points = np.frombuffer(answer.content, "<f4").reshape(-1, 3)
    roof = roof_of(house)["roof"]
    corners = np.array([corner for plane in roof["planes"] for corner in plane["outline"]])
    assert (points[:, :2] >= corners[:, :2].min(axis=0) - 6.01).all()
    assert (points[:, :2] <= corners[:, :2].max(axis=0) + 6.01).all()
    distance = np.min([abs(points @ p["normal"] - p["offset"]) for p in roof["planes"]], axis=0)
    n_of_planes = sum(plane["points"] for plane in roof["planes"])
    assert (distance < 0.15).sum() > 0.95 * n_of_planes


def test_corrections_undo_and_redo_give_the_same_roof_again(house):
    before = roof_of(house)
    eave = longest(before["roof"], "eave")
    moved = house.client.post(
        "/api/jobs/house/edits", json={"edit": {"edit": "move_boundary", "edge": eave["id"], "by_m": 0.2}}
    ).json()
    assert moved["roof"]["totals"]["area"]["value"] > before["roof"]["totals"]["area"]["value"]
    assert moved["journal"] == [{"edit": "move_boundary", "edge": eave["id"], "by_m": 0.2}]
    assert any(w["code"] == "corrected_by_hand" for w in moved["warnings"])
    undone = house.client.post("/api/jobs/house/undo").json()
    assert undone["roof"] == before["roof"] and undone["redo"] == moved["journal"]
    again = house.client.post("/api/jobs/house/redo").json()
    assert again["roof"] == moved["roof"] and again["redo"] == []


def test_a_new_correction_ends_what_could_be_redone(house):
    ridge = longest(roof_of(house)["roof"], "ridge")
    for kind in ("hip", "unknown"):
        edit = {"edit": "set_kind", "edge": ridge["id"], "kind": kind}
        assert house.client.post("/api/jobs/house/edits", json={"edit": edit}).status_code == 200
        if kind == "hip":
            house.client.post("/api/jobs/house/undo")
    assert roof_of(house)["redo"] == []
    assert house.client.post("/api/jobs/house/redo").status_code == 422


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        ({"edit": "exclude_plane", "plane": "Q"}, "Q"),
        ({"edit": "move_boundary", "edge": "e1", "by_m": 99.0}, "99"),
        ({"edit": "burn_down", "plane": "A"}, "burn_down"),
        ({"edit": "fix_pitch", "plane": "A"}, "pitch_rad"),
        ({"edit": "fix_pitch", "plane": "A", "pitch_rad": "steep", "u_rad": 0.1, "forced": False}, "steep"),
    ],
)
def test_a_correction_that_cannot_be_made_is_named_and_changes_nothing(house, edit, said):
    before = roof_of(house)
    answer = house.client.post("/api/jobs/house/edits", json={"edit": edit})
    assert answer.status_code == 422 and said in answer.json()["text"]
    assert roof_of(house) == before


def test_status_of_a_line_is_changed_in_place_and_kept_in_job_toml(house):
    item = "starter"
    for status, expected in (("by_others", "by_others"), (None, "in_scope")):
        answer = house.client.put("/api/jobs/house/statuses", json={"item": item, "status": status})
        assert answer.status_code == 200, answer.text
        found = {line["item"]: line["status"] for line in answer.json()["takeoff"]["lines"]}
        assert found[item] == expected
        text = (house.places.root / "house" / "job.toml").read_text()
        assert ('by_others = ["starter"]' in text) == (status is not None)
        assert "# An invented house" in text


def test_status_of_an_item_that_the_system_has_not_leaves_the_form_as_it_was(house):
    path = house.places.root / "house" / "job.toml"
    before = path.read_bytes()
    answer = house.client.put("/api/jobs/house/statuses", json={"item": "gold leaf", "status": "excluded"})
    if answer.status_code == 200:  # then it is told as a warning, and the form says it
        assert any("gold leaf" in w["text"] for w in answer.json()["warnings"])
        house.client.put("/api/jobs/house/statuses", json={"item": "gold leaf", "status": None})
    else:
        assert "gold leaf" in answer.json()["text"] and path.read_bytes() == before


def test_corrections_outlive_a_change_of_units_and_system(house):
    ridge = longest(roof_of(house)["roof"], "ridge")
    edit = {"edit": "set_kind", "edge": ridge["id"], "kind": "hip"}
    house.client.post("/api/jobs/house/edits", json={"edit": edit})
    body = {"system": "composition-strip", "metric": True}
    changed = house.client.put("/api/jobs/house/presentation", json=body).json()
    assert changed["system"] == "composition-strip" and changed["options"]["metric"] is True
    assert changed["journal"] == [edit]
    body = {"system": "composition-laminated", "metric": False}
    assert house.client.put("/api/jobs/house/presentation", json=body).json()["journal"] == [edit]


def test_outputs_are_served_as_written_and_nothing_else_is(house):
    run_folder = house.places.root / "house.run"
    answer = house.client.get("/api/jobs/house/outputs/report.pdf?save=true")
    assert answer.content == (run_folder / "report.pdf").read_bytes()
    assert "attachment" in answer.headers["content-disposition"]
    for name in (
        "../house/job.toml",
        "..%2Fhouse%2Fjob.toml",
        "%2e%2e/house/job.toml",
        "/etc/passwd",
        "none",
    ):
        answer = house.client.get(f"/api/jobs/house/outputs/{name}")
        assert answer.status_code in (404, 422), (name, answer.status_code)


def test_events_tell_the_newest_run_of_each_job(working):
    with working.client.stream("GET", "/api/events") as stream:
        for line in stream.iter_lines():
            if line.startswith("data:"):
                told = json.loads(line[5:])
                break
    assert told["job"] == "house" and told["state"] == "done"
