"""The sheets are of true size and carry the codes that they say.

Oracles: paper sizes of ANSI/ASME Y14.1 and ISO 216; the PDF's own drawing operators, in points of 1/72 inch
(ISO 32000-1, 8.3.2.3); the codes of the family as the finder of another library (OpenCV) reads them.
"""

from __future__ import annotations

import io
import json

import cv2
import numpy as np
import pypdf
import pytest

from slopewright.cli import main
from slopewright.errors import InputError
from slopewright.photos.board_sheet import board_sheets, largest_side_m

POINT_M = 0.0254 / 72


def rectangles(pdf: bytes, page: int = 0) -> tuple[list, list]:
    """Filled paths and stroked lines of a page as boxes (x, y, width, height) [m], with the fill's grey."""
    sheet = pypdf.PdfReader(io.BytesIO(pdf)).pages[page]
    filled, lines, path, grey = [], [], [], [0.0]

    def box(points, ctm):
        xy = np.array(
            [[x * ctm[0] + y * ctm[2] + ctm[4], x * ctm[1] + y * ctm[3] + ctm[5]] for x, y in points]
        )
        low, high = xy.min(axis=0) * POINT_M, xy.max(axis=0) * POINT_M
        return (*low, *(high - low))

    def visit(operator, operands, ctm, _text):
        name = operator.decode()
        numbers = [float(o) for o in operands if isinstance(o, (int, float, pypdf.generic.NumberObject))]
        if name in ("m", "l"):
            path.append(tuple(numbers[:2]))
        elif name == "re":
            x, y, w, h = numbers
            path.extend([(x, y), (x + w, y + h)])
        elif name in ("g", "sc", "scn", "rg"):
            grey[0] = numbers[0] if numbers else grey[0]
        elif name in ("f", "f*"):
            filled.append((*box(path, ctm), grey[0]))
            path.clear()
        elif name == "S":
            lines.append(box(path, ctm))
            path.clear()
        elif name in ("n", "B"):
            path.clear()

    sheet.extract_text(visitor_operand_before=visit)
    return filled, lines


@pytest.mark.parametrize(
    ("paper", "width_m", "height_m"),
    [
        ("letter", 8.5 * 0.0254, 11 * 0.0254),
        ("a4", 0.210, 0.297),
        ("24x36in", 0.6096, 0.9144),
        ("a1", 0.594, 0.841),
    ],
)
def test_pages_have_the_size_of_their_paper(paper, width_m, height_m):
    pages = pypdf.PdfReader(io.BytesIO(board_sheets((7, 8), paper).pdf)).pages
    assert len(pages) == 2
    assert float(pages[0].mediabox.width) * POINT_M == pytest.approx(width_m, abs=1e-5)
    assert float(pages[0].mediabox.height) * POINT_M == pytest.approx(height_m, abs=1e-5)


@pytest.mark.parametrize(("paper", "side_m"), [("letter", None), ("a4", 0.1), ("a3", None)])
def test_black_square_and_check_line_are_as_long_as_the_sheet_says(paper, side_m):
    sheets = board_sheets((7,), paper, side_m)
    filled, lines = rectangles(sheets.pdf)
    black = max((box for box in filled if box[4] < 0.1), key=lambda box: box[2])
    assert black[2:4] == pytest.approx([sheets.side_m] * 2, abs=2e-5)
    assert max(line[2] for line in lines) == pytest.approx(sheets.check_m, abs=2e-5)


@pytest.mark.parametrize("number", [0, 7, 586])
def test_the_drawn_code_is_read_as_its_number(number):
    """Oracle: OpenCV's finder on the sheet, drawn from the PDF's own operators."""
    sheets = board_sheets((number,))
    filled, _ = rectangles(sheets.pdf)
    per_m = 2000.0
    image = np.full((600, 500), 255, dtype=np.uint8)
    for x, y, w, h, grey in filled:
        top = 600 - round((y + h) * per_m)
        image[top : top + round(h * per_m), round(x * per_m) : round((x + w) * per_m)] = 255 * grey
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    _, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(image)
    assert ids is not None and ids.ravel().tolist() == [number]


def test_text_says_not_to_climb_and_how_to_check_the_print():
    text = pypdf.PdfReader(io.BytesIO(board_sheets((7,)).pdf)).pages[0].extract_text()
    words = " ".join(text.split())
    for part in ("This line is 4 in (101.6 mm)", "100 %", "Do not climb", "middle to middle", "number 7"):
        assert part in words


def test_same_sheets_are_the_same_bytes():
    assert board_sheets((3, 4), "a4").pdf == board_sheets((3, 4), "a4").pdf


def test_a_side_too_large_for_the_paper_is_refused_with_a_paper_that_holds_it():
    with pytest.raises(InputError, match=r"--paper (24x36in|a1)"):
        board_sheets((7,), "letter", 0.4)
    assert largest_side_m("24x36in") > 0.4


@pytest.mark.parametrize(
    ("arguments", "need"),
    [
        (["--id", "587"], "0 to 586"),
        (["--id", "7", "--id", "7"], "different"),
        (["--paper", "quarto"], "letter"),
        (["--side", "6"], "like 6in"),
        (["--side", "1in"], "too small"),
        (["--out", "missing/boards.pdf"], "--out"),
    ],
)
def test_bad_options_end_with_status_2_and_one_line(arguments, need, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["board", *arguments]) == 2
    said = capsys.readouterr().err
    assert need in said and said.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_a_file_that_exists_is_not_replaced_unasked(tmp_path, capsys):
    out = tmp_path / "b.pdf"
    assert main(["board", "--out", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["side_m"] == pytest.approx(0.1524) and told["ids"] == [7, 8]
    before = out.read_bytes()
    assert main(["board", "--out", str(out), "--paper", "a4"]) == 2
    assert out.read_bytes() == before
    assert main(["board", "--out", str(out), "--paper", "a4", "--force"]) == 0
    assert out.read_bytes() != before
