"""slopewright board"""

from __future__ import annotations

import json
import re
from pathlib import Path

import click

from ..errors import InputError
from . import options
from .outcome import OK, Outcome

UNITS = r"\s*(\d+(?:\.\d+)?)\s*(mm|cm|m|in|ft)\s*"


@click.command()
@click.option(
    "--id",
    "ids",
    type=int,
    multiple=True,
    default=(7, 8),
    show_default=True,
    help="Number of a board; one sheet each.",
)
@click.option(
    "--paper",
    default="letter",
    show_default=True,
    metavar="letter|tabloid|24x36in|a4|a3|a1",
    help="Size of the sheets.",
)
@click.option(
    "--side",
    metavar="LENGTH",
    help="Side of the black square with its unit, like 6in or 150mm; by default large.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("boards.pdf"),
    show_default=True,
    metavar="F.pdf",
    help="File to write.",
)
@click.option("--force", is_flag=True, help="Replace a file that exists.")
@options.as_json
@options.quiet
def board(
    ids: tuple[int, ...],
    paper: str,
    side: str | None,
    out: Path,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> Outcome:
    """Write target boards as a PDF to be printed at true size: the scale of a photo job.

    Print at 100 %, check the line on the sheet, lay two boards far apart, tape from middle to middle and
    photograph them with the house.  Nothing is to be put on a roof.

    \b
    Examples:
      slopewright board
      slopewright board --paper a3 --id 3 --id 4 --side 200mm --out targets.pdf
    """
    from ..photos.board_sheet import board_sheets, length_text

    if out.exists() and not force:
        raise InputError(f"--out {out}: exists already, choose another name or give --force")
    sheets = board_sheets(ids, paper.lower(), None if side is None else _metres(side))
    try:
        out.write_bytes(sheets.pdf)
    except OSError as error:
        raise InputError(f"--out {out}: cannot be written: {error.strerror}") from error
    trade = not sheets.paper.startswith("a")
    if as_json:
        found = {
            "file": str(out),
            "dictionary": "APRILTAG_36h11",
            "ids": list(sheets.ids),
            "paper": sheets.paper,
            "side_m": sheets.side_m,
            "check_line_m": sheets.check_m,
        }
        click.echo(json.dumps(found))
    elif not quiet:
        numbers = ", ".join(map(str, sheets.ids))
        click.echo(
            f"{out}: board {numbers} on {sheets.paper}, side {length_text(sheets.side_m, trade=trade)}"
        )
        click.echo(f"Print at 100 % and check the line: {length_text(sheets.check_m, trade=trade)}.")
        if len(sheets.ids) >= 2:
            click.echo("For job.toml, with the distance that you tape from middle to middle:\n")
            click.echo("[[reference]]")
            pair = f"[{sheets.ids[0]}, {sheets.ids[1]}]"
            click.echo(f'board = {{dictionary = "APRILTAG_36h11", ids = {pair}, distance = 20.00}}')
            click.echo('unit = "ft"\nu = 0.02')
    return Outcome(status=OK)


def _metres(text: str) -> float:
    """A length with its unit, in metres."""
    from ..units import FOOT_M, INCH_M

    match = re.fullmatch(UNITS, text.lower())
    if match is None:
        raise InputError(f"--side {text}: need a number with mm, cm, m, in or ft, like 6in or 150mm")
    factor = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": INCH_M, "ft": FOOT_M}[match[2]]
    return float(match[1]) * factor
