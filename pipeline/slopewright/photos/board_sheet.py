"""Printed targets as a PDF at true size: one sheet a target, with a line to check the print by.  Metres."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from ..errors import InputError
from ..resources import shipped
from ..units import FOOT_M, INCH_M
from .board import CELLS, N_IDS

TEMPLATE = Path(__file__).parent / "board.typ"
MM = 1e-3
PAPERS_M = {  # width and height: ANSI/ASME Y14.1 and ISO 216
    "letter": (8.5 * INCH_M, 11 * INCH_M),
    "tabloid": (11 * INCH_M, 17 * INCH_M),
    "24x36in": (24 * INCH_M, 36 * INCH_M),
    "a4": (0.210, 0.297),
    "a3": (0.297, 0.420),
    "a1": (0.594, 0.841),
}
USUAL_SIDE_M = {  # the largest round length that the paper holds
    "letter": 6 * INCH_M,
    "tabloid": 8 * INCH_M,
    "24x36in": 18 * INCH_M,
    "a4": 0.150,
    "a3": 0.220,
    "a1": 0.450,
}
EDGE_M = 0.008  # of the paper, that printers leave white
TICK_M = 0.005
TEXT_M = 0.062  # below the target, on paper of letter width: check line and what to do
LARGEST_TEXT = 2.2  # times that of letter width
LAP = 0.01  # of a cell, by which white cells that touch overlap: no hairline between them
LEAST_SIDE_M = 0.05  # 16 px wide at 3 m from a telephone; smaller is of no use for a house
MOST_SHEETS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardSheets:
    """The sheets, and what stands on them."""

    pdf: bytes
    ids: tuple[int, ...]
    paper: str
    side_m: float  # of the black square
    check_m: float  # of the check line


def board_sheets(ids: tuple[int, ...], paper: str = "letter", side_m: float | None = None) -> BoardSheets:
    """Target sheets for print at 100 %.

    Parameters
    ----------
    ids : tuple of int
        Numbers of the AprilTags of the family 36h11, one sheet each.
    paper : str
        A key of `PAPERS_M`.
    side_m : float, optional
        Side of the black square [m]; by default as large as goes well on the paper.

    Raises
    ------
    InputError
        If a number is none of the family or stands twice, or the side does not fit on the paper.
    """
    if not ids or len(set(ids)) != len(ids) or len(ids) > MOST_SHEETS:
        raise InputError(f"--id: got {list(ids)}, need 1 to {MOST_SHEETS} different numbers")
    wrong = [number for number in ids if not 0 <= number < N_IDS]
    if wrong:
        raise InputError(f"--id {wrong[0]}: need a whole number from 0 to {N_IDS - 1}")
    if paper not in PAPERS_M:
        raise InputError(f"--paper {paper}: need one of {', '.join(PAPERS_M)}")
    side_m = USUAL_SIDE_M[paper] if side_m is None else side_m
    if not side_m >= LEAST_SIDE_M:
        raise InputError(
            f"--side: {side_m / MM:g} mm is too small to be found, need {LEAST_SIDE_M / MM:g} mm"
        )
    most_m = largest_side_m(paper)
    if side_m > most_m:
        fits = [name for name in PAPERS_M if largest_side_m(name) >= side_m]
        way = f"take --paper {fits[0]}" if fits else "have it plotted by a print shop from a smaller one"
        raise InputError(
            f"--side: {side_m / MM:.0f} mm does not fit on {paper}, which holds {most_m / MM:.0f} mm"
            f" ({most_m / INCH_M:.1f} in); {way}"
        )
    trade = paper in ("letter", "tabloid", "24x36in")
    check_m = 4 * INCH_M if trade else 0.100
    return BoardSheets(
        pdf=_pdf(ids, paper, side_m, check_m, trade),
        ids=ids,
        paper=paper,
        side_m=side_m,
        check_m=check_m,
    )


def largest_side_m(paper: str) -> float:
    """Side of the largest target that a paper holds with its white margin, ticks and text [m]."""
    width, height = PAPERS_M[paper]
    across = (width - 2 * EDGE_M) / (1 + 2 / CELLS)
    down = (height - 2 * EDGE_M - TEXT_M * _text_size(paper) - 2 * TICK_M) / (1 + 2 / CELLS)
    return min(across, down)


def _text_size(paper: str) -> float:
    """Size of the text, 1 on paper of letter width."""
    return min(max(PAPERS_M[paper][0] / PAPERS_M["letter"][0], 1.0), LARGEST_TEXT)


def length_text(length_m: float, *, trade: bool) -> str:
    """A length as the sheet states it, the other unit in brackets."""
    inches, mm = f"{length_m / INCH_M:.4g} in", f"{length_m / MM:.5g} mm"
    return f"{inches} ({mm})" if trade else f"{mm} ({inches})"


def _pdf(ids: tuple[int, ...], paper: str, side_m: float, check_m: float, trade: bool) -> bytes:
    import typst  # a compiler in a shared library: only where a sheet is made

    width, height = PAPERS_M[paper]
    side, check = length_text(side_m, trade=trade), length_text(check_m, trade=trade)
    far = f"{20 * FOOT_M:.0f} m (20 ft)"
    content = {
        "width_mm": width / MM,
        "height_mm": height / MM,
        "margin_mm": (EDGE_M + 0.004) / MM,
        "top_mm": (EDGE_M + side_m / CELLS + TICK_M) / MM,
        "side_mm": side_m / MM,
        "check_mm": check_m / MM,
        "tick_mm": TICK_M / MM,
        "text": _text_size(paper),
        "check": f"This line is {check} long when printed at 100 % (no fit to page). Hold a rule to it.",
        "points": [
            "If the line is off, print again; or measure the black square, outer edge to outer edge, and give"
            " that as its side.",
            "Lay out two boards and tape from middle to middle (the ticks show it): the longer, the better;"
            f" {far} if there is room. State ids and distance in job.toml, with the tape's uncertainty.",
            "Fix it flat on something stiff. Put it where many photos see it and the house: on the ground or"
            " against the wall. White margin uncovered, out of glare, not in half shade.",
            f"It is found when its side is 16 px or longer in a photo; more is better. A side of {side} alone"
            " gives a far wider bound than a taped distance.",
            "Do not climb for it: no board on a roof or a ladder. Keep off roads and out of flight paths, and"
            " secure it against wind. Local rules and the site's owner come first.",
        ],
        "sheets": [
            {
                "title": f"Board {number}: AprilTag 36h11 number {number}, side of the black square {side}",
                "white": _white_cells(number),
            }
            for number in ids
        ],
    }
    made = typst.compile(
        TEMPLATE,
        format="pdf",
        font_paths=[shipped("report/fonts")],
        ignore_system_fonts=True,
        sys_inputs={"content": json.dumps(content)},
    )
    return bytes(made)


def _white_cells(number: int) -> list[list[float]]:
    """Row, column, height and width of the white cells of a code [cells], rim included in the count."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    white = cv2.aruco.generateImageMarker(dictionary, number, CELLS) > 127  # the rim is black
    return [
        [r, c, 1 + LAP * bool(white[r + 1, c]), 1 + LAP * bool(white[r, c + 1])]
        for r in range(CELLS)
        for c in range(CELLS)
        if white[r, c]
    ]
