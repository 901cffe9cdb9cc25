"""slopewright photo"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..errors import InputError
from . import options
from .outcome import OK, Outcome

if TYPE_CHECKING:
    from ..photos.single import PhotoFound

LENGTH = r"\s*(?:(\d+)\s*ft\s+)?(\d+(?:\.\d+)?)\s*(mm|cm|m|in|ft)\s*"
USUAL_U = 0.003  # of a taped length, relative, or ...
LEAST_U_M = 0.003  # ... its ends
UPRIGHT_DEG = 80.0  # steeper lines have no rise in 12 worth reading


@click.command()
@click.argument("photo_path", metavar="PHOTO", type=click.Path(path_type=Path))
@click.option(
    "--marks",
    "marks_path",
    required=True,
    metavar="M.json",
    type=click.Path(path_type=Path),
    help="Marks, in the form of marks.json; their names say what they are (above).",
)
@click.option(
    "--length", metavar="LENGTH", help="Between known.a and known.b, with its unit: 6ft 8in, 2.03m."
)
@click.option(
    "--rectangle",
    nargs=2,
    metavar="WIDTH HEIGHT",
    help="Sides of the known rectangle: rectangle.1 to .2 is the width.",
)
@click.option(
    "--u",
    "uncertainty",
    metavar="LENGTH",
    help="Standard uncertainty of these lengths; by default 0.3 %, 3 mm or more.",
)
@options.metric
@options.as_json
@options.quiet
def photo(
    photo_path: Path,
    marks_path: Path,
    length: str | None,
    rectangle: tuple[str, str] | None,
    uncertainty: str | None,
    metric: bool,
    as_json: bool,
    quiet: bool,
) -> Outcome:
    """Measure on one plane in one photo: pitch, lengths and area, each with its 95 % bounds.

    The plane is a gable wall or one face of a roof.  What is marked on it says how it lies before the camera:
    two or more level lines and two or more upright ones with one known length, or a known rectangle.  Lines
    and outlines on the same plane are then measured.  Pitch is the angle of a line against the level lines:
    the pitch of a roof is that of a rake on the gable wall.

    \b
    Names of marks:
      level.1a level.1b, level.2a ...  ends of level lines: siding, sills, an eave
      upright.1a upright.1b, ...       ends of lines square to them: wall corners, jambs
      known.a known.b                  ends of the known length (--length)
      rectangle.1 to rectangle.4       corners of the known rectangle in order (--rectangle)
      NAME.a NAME.b                    a line to be measured
      NAME.1 NAME.2 NAME.3 ...         an outline to be measured

    \b
    Example, with the photo that comes with the program (a gable wall, invented; the door is 6 ft 8 in):
      slopewright photo sample_inputs/gable_wall/wall.jpg \\
          --marks sample_inputs/gable_wall/marks.json --length "6ft 8in"

    Take it from the ground, square on if you can; nobody needs to climb.
    """
    from ..photos.marks import read_marks
    from ..photos.read import read_photo
    from ..photos.single import Given, run

    known_m = None if length is None else _metres("--length", length)
    sides_m = None if rectangle is None else tuple(_metres("--rectangle", side) for side in rectangle)
    if known_m is not None and sides_m is not None:
        raise InputError("--length and --rectangle: got both, need one of them")
    shortest_m = min([m for m in (known_m, *(sides_m or ())) if m is not None], default=0.0)
    u_m = max(USUAL_U * shortest_m, LEAST_U_M) if uncertainty is None else _metres("--u", uncertainty)
    marks = read_marks(marks_path)
    seen = read_photo(photo_path)
    marks.check_against({seen.name: (seen.width_px, seen.height_px)})
    given = Given(
        length_m=known_m, rectangle_m=None if sides_m is None else (sides_m[0], sides_m[1]), u_m=u_m
    )
    found = run(seen, marks, given)
    if as_json:
        click.echo(json.dumps(_as_json(seen.name, found), ensure_ascii=False, allow_nan=False))
    elif not quiet:
        for line in _lines(seen.name, found, metric=metric):
            click.echo(line)
    return Outcome(status=OK)


def _metres(flag: str, text: str) -> float:
    """A length with its unit, in metres."""
    from ..units import FOOT_M, INCH_M

    match = re.fullmatch(LENGTH, text.lower())
    factor = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": INCH_M, "ft": FOOT_M}
    if match is None or (match[1] and match[3] != "in"):
        raise InputError(f'{flag} {text}: need a length with its unit, like "6ft 8in", 80in or 2.03m')
    value = int(match[1] or 0) * FOOT_M + float(match[2]) * factor[match[3]]
    if not value > 0:
        raise InputError(f"{flag} {text}: need a length above 0")
    return value


def _as_json(name: str, found: PhotoFound) -> dict[str, object]:
    return {
        "photo": name,
        "lines": [
            {
                "name": line.name,
                "length": line.length_m.as_json(),
                "pitch_deg": line.pitch_deg.as_json(),
                "rise_in_12": line.rise_in_12.as_json() if line.rise_in_12.value < 1000 else None,
            }
            for line in found.lines
        ],
        "outlines": [
            {"name": o.name, "area": o.area_m2.as_json(), "perimeter": o.perimeter_m.as_json()}
            for o in found.outlines
        ],
        "oblique_deg": found.oblique_deg,
        "focal_px": found.focal_px,
        "focal_from": found.focal_from,
        "warnings": [{"code": notice.code, "text": notice.text} for notice in found.notices],
    }


def _lines(name: str, found: PhotoFound, *, metric: bool) -> list[str]:
    """What a person reads."""
    from ..units import FOOT_M, feet_and_inches

    def length(value_m: float) -> str:
        return f"{value_m:.3f} m" if metric else feet_and_inches(value_m)

    shown = [
        f"{name}: the plane is seen {found.oblique_deg:.0f}° off square; focal length {found.focal_px:.0f} px"
        f" by {found.focal_from}.  ± are 95 % bounds."
    ]
    names = [*(line.name for line in found.lines), *(outline.name for outline in found.outlines)]
    width = max(map(len, names), default=0)
    for line in found.lines:
        rise = f"  {line.rise_in_12.value:5.2f} ± {line.rise_in_12.half_width:.2f} in 12"
        shown.append(
            f"  {line.name:<{width}}  {length(line.length_m.value)} ± {length(line.length_m.half_width)}"
            f"  {line.pitch_deg.value:5.1f}° ± {line.pitch_deg.half_width:.1f}°"
            + ("" if line.pitch_deg.value > UPRIGHT_DEG else rise)
        )
    for outline in found.outlines:
        area = outline.area_m2
        square, unit = (1.0, "m²") if metric else (FOOT_M**2, "ft²")
        shown.append(
            f"  {outline.name:<{width}}  {area.value / square:.1f} ± {area.half_width / square:.1f} {unit}"
            f"  perimeter {length(outline.perimeter_m.value)} ± {length(outline.perimeter_m.half_width)}"
        )
    return [*shown, *(f"Note: {notice.text}." for notice in found.notices)]
