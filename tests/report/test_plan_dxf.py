"""plan.dxf read back by ezdxf: audit, true scale, lengths by layer, the texts of plan.svg, nothing a code."""

import io
import os
import subprocess
import sys
from functools import lru_cache
from pathlib import Path
from xml.etree import ElementTree as ET

import ezdxf
import numpy as np
import pytest

from report import hand_roofs
from report.hostile_texts import TEXTS
from report.test_roof_file import HOSTILE
from slopewright import report
from slopewright.report.plan import plan_dxf
from slopewright.report.text import plain_text
from slopewright.units import FOOT_M

CASES = [(name, metric) for name in hand_roofs.ALL for metric in (False, True)]
UNITS = {False: (2, FOOT_M), True: (6, 1.0)}  # $INSUNITS of the DXF reference: 2 feet, 6 metres


@lru_cache
def case(name, metric):
    roof = hand_roofs.ALL[name]()
    return roof, made(roof, metric=metric)[1]


def made(roof, *, metric=False, title="A job"):
    plan = report.plan_svg(roof, title=title, metric=metric)
    return plan, plan_dxf(roof, plan, metric=metric)


def opened(content):
    return ezdxf.read(io.StringIO(content.decode("utf-8")))


@pytest.mark.parametrize(("name", "metric"), CASES)
def test_it_audits_without_errors_and_says_its_unit(name, metric):
    """Oracle: ezdxf's auditor; $INSUNITS."""
    document = opened(case(name, metric)[1])
    auditor = document.audit()
    assert not auditor.errors and not auditor.fixes
    assert document.header["$INSUNITS"] == UNITS[metric][0]


@pytest.mark.parametrize(("name", "metric"), CASES)
def test_edges_stand_on_the_layer_of_their_kind_at_true_length(name, metric):
    """Oracle: the plan distance of the roof's own corners, by definition."""
    roof, content = case(name, metric)
    space = opened(content).modelspace()
    for kind in {edge.kind for edge in roof.edges}:
        layer = "EDGE-" + str(kind).upper().replace("_", "-")
        drawn = {
            tuple(np.round([*line.dxf.start.vec2, *line.dxf.end.vec2], 9))
            for line in space.query(f'LINE[layer=="{layer}"]')
        }
        for edge in (edge for edge in roof.edges if edge.kind == kind):
            ends = roof.vertices[[edge.start, edge.end], :2].ravel() / UNITS[metric][1]
            assert tuple(np.round(ends, 9)) in drawn


@pytest.mark.parametrize(("name", "metric"), CASES)
def test_outlines_of_planes_enclose_their_plan_area(name, metric):
    """Oracle: Newell's area of the roof's own rings, in plan."""
    roof, content = case(name, metric)
    space = opened(content).modelspace()
    rings = [np.array(p.get_points("xy")) for p in space.query('LWPOLYLINE[layer=="PLANES"]')]
    drawn = sorted(
        abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2 for x, y in (ring.T for ring in rings)
    )
    unit = UNITS[metric][1]
    loops = [roof.ring(loop) for plane in roof.planes for loop in plane.loops]
    expected = sorted(abs(float(hand_roofs.ring_vector_area(ring)[2])) / unit**2 for ring in loops)
    assert drawn == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("metric", [False, True])
def test_it_says_what_the_svg_says(metric):
    """Oracle: the texts of plan.svg, which is held to roof.json by its own tests."""
    plan, content = made(hand_roofs.cross_gable(), metric=metric)
    said = [
        " ".join("".join(node.itertext()).split())
        for node in ET.fromstring(plan).iter("{http://www.w3.org/2000/svg}text")
    ]
    texts = [item.plain_text() for item in opened(content).modelspace().query("TEXT")]
    assert sorted(texts) == sorted(text for text in said if text)


@pytest.mark.parametrize("title", [*TEXTS, HOSTILE, "%%c %%u100%% ^I \\U+0041 {\\fArial;x}"])
def test_text_is_no_code(title):
    """Oracle: what ezdxf's reader makes of it is what was given, but for spaces."""
    content = made(hand_roofs.gable(), title=title)[1]
    document = opened(content)
    assert not document.audit().errors
    shown = next(
        item.plain_text()
        for item in document.modelspace().query('TEXT[layer=="FRAME"]')
        if item.plain_text().startswith("Roof plan")
    )
    expected = plain_text(f"Roof plan: {title}").replace(" ", "")
    assert expected.startswith(shown.replace(" ", "").rstrip("…"))


def test_it_leaves_nothing_in_the_home_folder(tmp_path):
    """Oracle: what the file system shows after a drawing in a fresh process."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]);"
        "from report import hand_roofs; from slopewright import report;"
        "from slopewright.report.plan import plan_dxf; roof = hand_roofs.gable();"
        "print(len(plan_dxf(roof, report.plan_svg(roof))))"
    )
    environment = {k: v for k, v in os.environ.items() if not k.startswith("XDG_")} | {"HOME": str(tmp_path)}
    tests = str(Path(__file__).parents[1])
    done = subprocess.run(
        [sys.executable, "-c", code, tests], env=environment, capture_output=True, check=True
    )
    assert int(done.stdout) > 1000
    assert list(tmp_path.rglob("*")) == []


def test_it_is_the_same_twice(monkeypatch):
    """Oracle: definition; neither the clock nor chance is in it."""
    roof = hand_roofs.gable()
    first = made(roof)[1]
    monkeypatch.setattr("time.time", lambda: 0.0)
    assert made(roof)[1] == first
    assert b"2026" not in first
