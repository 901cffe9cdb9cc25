"""marks.json is read as the contract has it, or refused in a line that names the fault."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from slopewright.errors import InputError
from slopewright.photos.marks import read_marks

CONTRACT = """{ "format": "slopewright-marks", "version": 1,
      "marks": [{"name": "staff_a", "u_px": 1.0,
                 "photos": {"drone_000.jpg": [812.4, 455.1], "b.jpg": [3, 4]}}] }"""


def written(folder: Path, content: Any) -> Path:
    path = folder / "marks.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return path


def one_mark(**changes: Any) -> dict[str, Any]:
    mark = {"name": "a", "u_px": 1.0, "photos": {"p.jpg": [1.0, 2.0]}} | changes
    return {"format": "slopewright-marks", "version": 1, "marks": [mark]}


def test_the_example_of_the_contract_is_read(tmp_path: Path) -> None:
    """Oracle: the example in the design's section on a job's inputs, a second photo added."""
    mark = read_marks(written(tmp_path, CONTRACT)).named("staff_a")
    assert mark is not None
    assert mark.u_px == 1.0
    assert mark.photos == {"drone_000.jpg": (812.4, 455.1), "b.jpg": (3.0, 4.0)}


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("{", "not valid JSON"),
        ("[]", "need an object"),
        (one_mark() | {"format": "x"}, 'need "slopewright-marks"'),
        (one_mark() | {"version": 2}, "version: got 2, need 1"),
        (one_mark(u_px=0), 'mark "a": u_px: got 0, need a number of pixels above 0'),
        (one_mark(u_px="1"), 'mark "a": u_px: got "1"'),
        (one_mark(photos={}), 'mark "a": photos'),
        (one_mark(photos={"p.jpg": [1.0]}), 'mark "a": photos p.jpg'),
        (one_mark(photos={"p.jpg": [1.0, float("nan")]}), 'mark "a": photos p.jpg'),
        (one_mark(name=""), "mark 1: name"),
        (one_mark(colour="red"), 'mark "a": unknown key colour'),
        (
            '{"format": "slopewright-marks", "version": 1, "marks":'
            ' [{"name": "a", "u_px": 1, "photos": {"p": [1, 1], "p": [2, 2]}}]}',
            'key "p" stands twice',
        ),
    ],
)
def test_a_fault_is_named_in_one_line(tmp_path: Path, content: Any, said: str) -> None:
    with pytest.raises(InputError) as caught:
        read_marks(written(tmp_path, content))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
    assert "marks.json" in str(caught.value)


def test_a_name_that_stands_twice_is_refused(tmp_path: Path) -> None:
    content = one_mark()
    content["marks"] *= 2
    with pytest.raises(InputError, match='mark "a" stands twice'):
        read_marks(written(tmp_path, content))


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"marks\.json: cannot be read"):
        read_marks(tmp_path / "marks.json")


@pytest.mark.parametrize(("x", "inside"), [(-0.5, True), (-0.6, False), (9.5, True), (9.6, False)])
def test_a_mark_outside_of_its_photo_is_refused(tmp_path: Path, x: float, inside: bool) -> None:
    """Oracle: pixel (0, 0) is the centre of the first pixel, so ten pixels span -0.5 to 9.5."""
    marks = read_marks(written(tmp_path, one_mark(photos={"p.jpg": [x, 0.0], "other.jpg": [1e6, 0.0]})))
    if inside:
        marks.check_against({"p.jpg": (10, 10)})
    else:
        with pytest.raises(InputError, match=r'mark "a".*outside of p\.jpg.*10 x 10 px'):
            marks.check_against({"p.jpg": (10, 10)})
