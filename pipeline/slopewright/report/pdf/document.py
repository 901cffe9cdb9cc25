"""The document: its data as JSON, laid out by `report.typ`; text given by anybody is data, never markup."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ...checks import Comparison, TapeCheck
from ...roof import Roof, RoofMesh, Takeoff
from ..pictures import Picture, as_svg
from ..plan import overview_svg, true_shape
from ..plan.sheet import choose_sheet
from ..printable import FONTS, drawable, printable
from ..provenance import Provenance
from ..quantity import SQUARE_FEET, SQUARE_METRES, angle_text, rise_text, with_bound
from ..view import draw_view
from . import checks, tables
from .front import front

TEMPLATE = Path(__file__).parent / "report.typ"
OVERVIEW_MM = (94.0, 84.0)
SHAPE_MM = (88.0, 84.0)  # two beside each other on a page


def report_pdf(
    roof: Roof,
    takeoff: Takeoff,
    mesh: RoofMesh,
    plan: str,
    *,
    title: str = "",
    metric: bool = False,
    provenance: Provenance | None = None,
    tape: TapeCheck | None = None,
    comparison: Comparison | None = None,
    shown: tuple[Picture, ...] = (),
) -> bytes:
    """The report.

    Parameters
    ----------
    roof : Roof
    takeoff : Takeoff
    mesh : RoofMesh
        Both of that roof.
    plan : str
        Its plan drawing, from `plan_svg` with the same units.
    title : str
        The job's name.
    metric : bool
        A4 and metric units instead of Letter and trade units; areas and lengths are listed in the other too.
    provenance : Provenance, optional
        What the result came from.
    tape : TapeCheck, optional
        Tape measurements that the roof was held against.
    comparison : Comparison, optional
        Another party's quantities beside ours.
    shown : tuple of Picture, optional
        What photos show of the roof.

    Returns
    -------
    bytes
        A tagged PDF without dates: the same bytes for the same input.
    """
    import typst  # a compiler in a shared library: only where a report is written

    provenance = provenance or Provenance()
    view = draw_view(roof, mesh)
    sheet = choose_sheet(roof.vertices[:, :2], len(roof.edges), metric=metric)
    pictures = {
        "overview": overview_svg(roof, *OVERVIEW_MM),
        "view": view.svg,
        "plan": plan,
    }
    shapes = []
    for i, plane in enumerate(roof.planes):
        shape = true_shape(roof, plane, SHAPE_MM, metric=metric)
        pictures[f"shape{i}"] = shape.svg
        pitch = angle_text(plane.pitch_deg.value) if metric else rise_text(plane.rise_in_12.value)
        area = with_bound(plane.area, SQUARE_METRES if metric else SQUARE_FEET)
        shapes.append(
            {
                "name": printable(plane.id, 40),
                "facts": f"{pitch}, {area}, drawn 1:{shape.scale:,}",
                "listed": [printable(length, 60) for length in shape.listed],
            }
        )
    photos = []
    for i, picture in enumerate(shown):
        pictures[f"photo{i}"], aspect = as_svg(picture.content, name=picture.photo)
        photos.append(checks.photo(picture, aspect, metric=metric))
    notices = tuple(dict.fromkeys((*roof.notices, *takeoff.notices)))
    content = {
        "paper": "a4" if metric else "us-letter",
        "title": printable(title, 320) or "Roof",
        "against": [printable(reason, 300) for reason in provenance.not_certified],
        "system": printable(takeoff.system, 120),
        "measured_from": _source(provenance),
        "front": front(roof, takeoff, notices, metric=metric),
        "seen_from": view.seen_from,
        "plan_sheet": {"width": sheet.width_mm, "height": sheet.height_mm},
        "planes": tables.planes(roof, metric=metric),
        "edges": tables.edges(roof, metric=metric),
        "other_units": tables.other_units(roof, metric=metric),
        "shapes": shapes,
        "quantities": tables.quantities(takeoff, metric=metric),
        "budget": tables.budget(roof),
        "classes": tables.classes(takeoff, metric=metric),
        "inferred": tables.inferred(roof, metric=metric),
        "warnings": tables.warnings(notices),
        "photos": photos,
        "tape": None if tape is None else checks.tape(tape, metric=metric),
        "comparison": None if comparison is None else checks.comparison(comparison, metric=metric),
        "crs": printable(roof.frame.crs or "that of the scan", 300),
        "provenance": _provenance(provenance),
    }
    made = typst.compile(
        TEMPLATE,
        format="pdf",
        font_paths=[FONTS],
        ignore_system_fonts=True,
        pdf_standards="ua-1",  # PDF/UA-1, ISO 14289-1:2014: tagged, with alternative text
        sys_inputs={
            "content": json.dumps(content, ensure_ascii=False),
            **{name: drawable(svg) for name, svg in pictures.items()},
        },
    )
    return bytes(made)


def _source(origin: Provenance) -> str:
    """What the roof was measured from."""
    n_photos = sum(file.role == "photo" for file in origin.inputs)
    if n_photos:
        return f"{n_photos} photo{'s' if n_photos > 1 else ''}"
    return "a point cloud"


def _provenance(origin: Provenance) -> dict[str, Any]:
    return {
        "version": printable(origin.version, 40),
        "source": origin.source,
        "libraries": [f"{name} {version}" for name, version in sorted(origin.libraries.items())],
        "inputs": [
            {
                "role": file.role,
                "name": printable(file.name, 300),
                "size": f"{file.n_bytes:,} bytes",
                "sha256": file.sha256,
            }
            for file in origin.inputs
        ],
        "options": _flat({**origin.options, **origin.request}),
        "seeds": _flat({f"seed of {name}": seed for name, seed in origin.seeds.items()}),
    }


def _flat(options: Mapping[str, Any], above: str = "") -> list[str]:
    """Options that were given, one text each; those left out are left out."""
    shown = []
    for key, value in options.items():
        name = f"{above}{key}".replace("_", " ")
        if isinstance(value, Mapping):
            shown += _flat(value, f"{name}: ")
        elif value is not None and value != "" and value != [] and value != ():
            text = ", ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)
            shown.append(printable(f"{name} = {text}", 400))
    return shown
