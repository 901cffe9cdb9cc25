"""slopewright compare, from the list to the run folder and its pages.

Oracles: our own numbers put into the list, or a plan area in place of an area on the slope; byte equality.
"""

import json

import pytest
from pypdf import PdfReader
from small_clouds import gable_house, write_las


@pytest.fixture
def folder(tmp_path, calls, slopewright_):
    job = tmp_path / "house"
    job.mkdir()
    write_las(job / "cloud.laz", gable_house())
    (job / "job.toml").write_text('[job]\nname = "Elm"\nunit = "m"\n')
    assert slopewright_("measure", job, "-q").status == 0
    return tmp_path / "house.run"


def totals(folder):
    return json.loads((folder / "roof.json").read_text())["totals"]


def write_list(folder, area_m2):
    edges = totals(folder)["edges"]
    path = folder.parent / "theirs.csv"
    rows = [f"Roof surface,{area_m2:.1f},m2", *(f"{kind},{m['value']:.2f},m" for kind, m in edges.items())]
    path.write_text("\n".join(["item,quantity,unit", *rows, "Skip,1,ea"]) + "\n")
    (folder.parent / "map.toml").write_text('[items]\n"Roof surface" = "roof area"\nSkip = "ignore"\n')
    return path


def test_a_list_that_took_the_plan_is_found_out(slopewright_, folder):
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    table = write_list(folder, totals(folder)["plan_area"]["value"])
    answer = slopewright_("compare", folder, table, "--map", folder.parent / "map.toml")
    assert answer.status == 0, answer.err
    assert "OUTSIDE" in answer.out and "the area in plan was taken" in answer.out and "Skip" in answer.out
    found = json.loads((folder / "compare.json").read_text())
    assert found["causes"][0]["kind"] == "plan_for_slope"
    area = totals(folder)["area"]["value"]
    assert found["lines"][0]["net"]["value"] * 9.290304 == pytest.approx(area, rel=1e-6)
    for name in ("roof.json", "takeoff.json", "takeoff.csv", "plan.svg"):
        assert (folder / name).read_bytes() == before[name], name
    text = " ".join(page.extract_text() for page in PdfReader(folder / "report.pdf").pages)
    assert "Another list of quantities beside ours" in text


def test_the_comparison_is_kept_and_follows_the_quantities(slopewright_, folder):
    table = write_list(folder, totals(folder)["area"]["value"])
    slopewright_("compare", folder, table, "--map", folder.parent / "map.toml")
    kept = (folder / "compare.json").read_bytes()
    slopewright_("report", folder, "-q")
    assert (folder / "compare.json").read_bytes() == kept
    slopewright_("takeoff", folder, "-q", "--system", "composition-strip")
    assert (folder / "compare.json").exists()
    answer = slopewright_("compare", folder, table, "--map", folder.parent / "map.toml", "--json")
    assert json.loads(answer.out)["left_out"] == ["Skip"]


def test_an_item_that_maps_to_nothing_writes_nothing(slopewright_, folder):
    table = write_list(folder, 100.0)
    answer = slopewright_("compare", folder, table)
    assert answer.status == 2
    assert "theirs.csv line 2: item 'Roof surface' maps to nothing of ours" in answer.err
    assert len(answer.err.splitlines()) == 1
    assert not (folder / "compare.json").exists()
