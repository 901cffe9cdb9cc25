"""The developers' page shows how a layer is added: its example runs, and its quotes are true."""

import re
from pathlib import Path

import pytest

from slopewright import takeoff
from slopewright.job.systems import find_system, read_system
from takeoff.takeoff_roofs import gable, has, line, system, take

REPOSITORY = Path(__file__).parents[2]
SECTION = (
    (REPOSITORY / "DEVELOPERS.md")
    .read_text(encoding="utf-8")
    .split("**Add a layer or a system.**")[1]
    .split("**Add a cloud format.**")[0]
)


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", SECTION, re.DOTALL)


def test_the_example_is_a_system_that_does_what_it_says(tmp_path):
    """Oracle: by hand; a ridge of 41 ft in butted pieces of 4 ft; 2 to 4 % of starter."""
    (text,) = blocks("toml")
    path = tmp_path / "ridge-vented.toml"
    path.write_text(text, encoding="utf-8")
    using = takeoff.system_from_toml(read_system(find_system(str(path))), file=path.name)
    items = list(using.items)
    assert items[items.index("hip and ridge caps") + 1] == "ridge vent"
    assert set(system().items) - set(items) == {"pitch-break flashing"}
    result = take(gable(41, 15, 6), using=using)
    vent, starter = line(result, "ridge vent"), line(result, "starter")
    assert (vent.net.value, vent.order.quantity, vent.order.unit) == (pytest.approx(41), 11, "piece")
    assert starter.waste.value == pytest.approx(0.03 * starter.net.value)
    assert not has(result, "pitch-break flashing")
    assert "IRC 2021" in line(result, "ice barrier").rule


def test_what_the_page_quotes_stands_in_the_source():
    model, rule = blocks("python")
    folder = REPOSITORY / "pipeline" / "slopewright" / "takeoff"
    assert model in (folder / "layers.py").read_text(encoding="utf-8")
    assert rule in (folder / "rules.py").read_text(encoding="utf-8")
