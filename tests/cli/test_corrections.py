"""Corrections of a run folder by hand.

Oracles: plane geometry (a free edge moved outward by d adds its length times d to its face, to first order
in d), byte equality after undo.
"""

import json
import shutil
from pathlib import Path

import pytest

from slopewright import run
from slopewright.errors import InputError
from slopewright.scene import EdgeKind
from slopewright.state import FixPitch, MoveBoundary, SetKind

SAMPLE = Path(__file__).parents[2] / "sample_inputs" / "house"


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    folder = tmp_path_factory.mktemp("corrections")
    shutil.copytree(SAMPLE, folder / "house")
    return run.measure(folder / "house").folder


@pytest.fixture
def folder(measured, tmp_path):
    shutil.copytree(measured.parent / "house", tmp_path / "house")
    shutil.copytree(measured, tmp_path / "house.run")
    return tmp_path / "house.run"


def contents(folder):
    paths = (path for path in folder.rglob("*") if path.is_file() and path.name != "times.json")
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


def an_eave(roof):
    return max((edge for edge in roof.edges if edge.kind == EdgeKind.EAVE), key=lambda e: e.length.value)


def test_moving_an_eave_changes_roof_quantities_and_record(folder):
    before = run.redraw(folder)
    eave = an_eave(before.roof)
    after = run.amend(folder, [MoveBoundary(edge=eave.id, by_m=0.10)])
    plane = next(plane for plane in before.roof.planes if plane.id == eave.planes[0])
    grown = after.roof.area.value - before.roof.area.value
    slope = plane.area.value / plane.plan_area.value
    assert grown == pytest.approx(eave.length.value * 0.10 * slope, rel=0.06)
    squares = {line.item: line.net.value for line in after.takeoff.lines}
    assert any(squares[line.item] > line.net.value for line in before.takeoff.lines if line.unit == "sq")
    record = json.loads((folder / "run.json").read_text())
    assert record["corrections"] == 1
    told = [warning["text"] for warning in record["warnings"] if warning["code"] == "corrected_by_hand"]
    assert len(told) == 1 and eave.id in told[0] and "outward" in told[0]


def test_undo_is_exact_and_stops_where_the_measuring_was(folder):
    before = contents(folder)
    eave = an_eave(run.redraw(folder).roof)
    run.amend(folder, [MoveBoundary(edge=eave.id, by_m=-0.05)])
    run.amend(folder, [SetKind(edge=eave.id, kind=EdgeKind.RAKE)])
    assert contents(folder)["roof.json"] != before["roof.json"]
    run.undo(folder)
    run.undo(folder)
    assert contents(folder) == before
    with pytest.raises(InputError, match="nothing to undo"):
        run.undo(folder)
    assert contents(folder) == before


def test_corrections_outlive_quantities_drawings_and_a_second_measure(folder):
    eave = an_eave(run.redraw(folder).roof)
    corrected = run.amend(folder, [MoveBoundary(edge=eave.id, by_m=0.10)]).roof.area.value
    assert run.redraw(folder, metric=True).roof.area.value == corrected
    assert run.take_off(folder, "composition-laminated").roof.area.value == corrected
    assert run.measure(folder.parent / "house").roof.area.value == corrected
    two = run.amend(folder, [MoveBoundary(edge=eave.id, by_m=0.10)])
    assert two.record.corrections == 2
    assert two.roof.area.value > corrected


def test_other_options_do_not_measure_over_corrections(folder):
    eave = an_eave(run.redraw(folder).roof)
    corrected = run.amend(folder, [MoveBoundary(edge=eave.id, by_m=0.10)]).roof.area.value
    job = folder.parent / "house" / "job.toml"
    text = job.read_text()
    job.write_text(text + '\n[[tape]]\nedge = "e1"\nlength = 10.0\nunit = "m"\nu = 0.01\n')
    held = contents(folder)
    with pytest.raises(InputError, match=r"1 correction\(s\) made by hand.*--force"):
        run.measure(folder.parent / "house")
    assert contents(folder) == held
    again = run.measure(folder.parent / "house", options=run.Options(force=True))
    assert again.roof.area.value != corrected
    assert again.record.corrections == 0


@pytest.mark.parametrize("name", ["roof.json", "state.json"])
def test_a_folder_changed_by_hand_takes_no_corrections(folder, name):
    eave = an_eave(run.redraw(folder).roof)
    path = folder / name
    path.write_text(path.read_text() + " ")
    held = contents(folder)
    with pytest.raises(InputError, match="measure again with --force"):
        run.amend(folder, [MoveBoundary(edge=eave.id, by_m=0.10)])
    if name == "roof.json":
        run.redraw(folder)  # the changed file is now the run's own, and still not what the state makes
        with pytest.raises(InputError, match="measure again with --force"):
            run.undo(folder)
    else:
        assert contents(folder) == held


def test_a_correction_that_cannot_be_leaves_the_folder_as_it_was(folder):
    held = contents(folder)
    with pytest.raises(InputError, match="plane Z"):
        run.amend(folder, [FixPitch(plane="Z", pitch_rad=0.4, u_rad=0.01)])
    assert contents(folder) == held
