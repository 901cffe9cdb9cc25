"""plan.dxf: the plan drawing for other programs, one unit of the drawing a metre or a foot of the roof.

It is the drawing of plan.svg, entity by entity, so that both say the same and no text covers another; edges
run between the measured corners themselves.  Layers and line types tell kinds of edges apart, colours do not.

References
----------
.. [1] Autodesk, DXF Reference, group codes in numerical order; TEXT (AcDbText); $INSUNITS.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np

from ...roof import Roof
from ...scene import Array
from ...units import FOOT_M
from ..text import plain_text
from .dxf_library import load_ezdxf
from .sheet import Sheet, choose_sheet
from .strokes import STROKES

VERSION = "R2010"  # the first whose text is UTF-8 and that most programs read
METRES, FEET = 6, 2  # $INSUNITS [1]
BLACK_OR_WHITE = 7  # colour that shows on paper and on a screen
CAP_HEIGHT = 0.714  # of a sans-serif's size: SVG gives the size, DXF the height of capitals
LINEWEIGHTS = (0, 5, 9, 13, 15, 18, 20, 25, 30, 35, 40, 50, 53, 60, 70, 80, 90, 100)  # 1/100 mm [1]
ALIGN = {"": "LEFT", "middle": "CENTER", "end": "RIGHT"}
LAYERS = {  # by id or class of the drawing's groups
    "plane": "PLANES", "plane-label": "PLANE-LABELS", "lengths": "LENGTHS", "objects": "OBJECTS",
    "frame": "FRAME", "tables": "TABLES",
}  # fmt: skip


def plan_dxf(roof: Roof, plan: str, *, metric: bool = False) -> bytes:
    """The plan drawing as DXF.

    Parameters
    ----------
    roof : Roof
    plan : str
        Its `plan_svg` with the same units.
    metric : bool
        Metres instead of feet.

    Returns
    -------
    bytes
        Local coordinates, grid north up; the origin and its grid stand in the drawing's frame.  No dates: the
        same bytes for the same input.
    """
    ezdxf = load_ezdxf()
    unit_m = 1.0 if metric else FOOT_M
    sheet = choose_sheet(roof.vertices[:, :2], len(roof.edges), metric=metric)
    document = ezdxf.new(VERSION, setup=False)
    document.header["$INSUNITS"] = METRES if metric else FEET
    document.header["$MEASUREMENT"] = int(metric)
    document.styles.get("Standard").dxf.font = "arial.ttf"
    for layer in (*LAYERS.values(), *(_edge_layer(str(kind)) for kind in STROKES)):
        document.layers.add(layer, color=BLACK_OR_WHITE)
    per_mm = sheet.scale / 1000 / unit_m
    for dashes in sorted({stroke.dashes for stroke in STROKES.values() if stroke.dashes}):
        lengths = [float(part) * per_mm * (-1) ** i for i, part in enumerate(dashes.split())]
        document.linetypes.add(_linetype(dashes), [sum(map(abs, lengths)), *lengths])
    _Writer(roof, sheet, document.modelspace(), unit_m).write(ET.fromstring(plan))
    for plane in roof.planes:
        for loop in plane.loops:
            ring = roof.ring(loop)[:, :2] / unit_m
            document.modelspace().add_lwpolyline(
                ring.tolist(), close=True, dxfattribs={"layer": "PLANES", "lineweight": 0}
            )
    return _bytes(ezdxf, document)


def _bytes(ezdxf: Any, document: Any) -> bytes:
    """The file without the time, the random ids and the chance order that the library would put into it."""
    stream = io.StringIO()
    document.ezdxf_metadata()["CREATED_BY_EZDXF"] = ezdxf.__version__  # and not when
    for name in sorted(document.entitydb.dxf_types_in_use()):  # the library would take a set's order
        document.classes.add_class(name)
    fixed = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        document.write(stream)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = fixed
    return stream.getvalue().encode(document.output_encoding, "dxfreplace")


def _edge_layer(kind: str) -> str:
    return "EDGE-" + kind.upper().replace("_", "-")


def _linetype(dashes: str) -> str:
    return "DASH-" + dashes.replace(" ", "-").replace(".", "_")


class _Writer:
    """Elements of the sheet to entities of the drawing."""

    def __init__(self, roof: Roof, sheet: Sheet, space: Any, unit_m: float) -> None:
        self._space, self._sheet, self._unit_m = space, sheet, unit_m
        self._ends = {edge.id: roof.vertices[[edge.start, edge.end], :2] / unit_m for edge in roof.edges}

    def write(self, group: ET.Element, layer: str = "FRAME") -> None:
        """Write what a group holds."""
        for item in group:
            name = item.get("id") or item.get("class") or ""
            own = LAYERS.get(name, layer)
            if item.get("class") == "edge":
                own = _edge_layer(item.get("data-kind", ""))
            match item.tag.rpartition("}")[2]:
                case "g":
                    if name != "plane":  # its fill; outlines are written from the corners
                        self._edge_or_group(item, own)
                case "path":
                    self._path(item, own)
                case "rect":
                    self._rect(item, own)
                case "circle":
                    middle = self._place(np.array([float(item.get("cx", 0)), float(item.get("cy", 0))]))
                    self._space.add_circle(
                        middle, float(item.get("r", 0)) * self._per_mm, dxfattribs={"layer": own}
                    )
                case "text":
                    self._text(item, own)

    @property
    def _per_mm(self) -> float:
        return self._sheet.scale / 1000 / self._unit_m

    def _place(self, mm: Array) -> tuple[float, float]:
        x, y = self._sheet.lift(mm) / self._unit_m
        return float(x), float(y)

    def _edge_or_group(self, group: ET.Element, layer: str) -> None:
        if group.get("class") == "edge":
            axis = next(item for item in group if item.get("class") == "axis")
            start, end = self._ends[group.get("data-id", "")]
            self._space.add_line(start, end, dxfattribs=self._look(axis, layer))
            group.remove(axis)
        self.write(group, layer)

    def _look(self, item: ET.Element, layer: str) -> dict[str, Any]:
        look: dict[str, Any] = {"layer": layer}
        dashes = item.get("stroke-dasharray")
        if dashes:
            look["linetype"] = _linetype(dashes)
        width = float(item.get("stroke-width", 0)) * 100
        look["lineweight"] = min(LINEWEIGHTS, key=lambda known: abs(known - width))
        return look

    def _path(self, item: ET.Element, layer: str) -> None:
        for points, closed in _subpaths(item.get("d", "")):
            placed = [self._place(point) for point in points]
            look = self._look(item, layer)
            if len(placed) == 2 and not closed:
                self._space.add_line(*placed, dxfattribs=look)
            else:
                self._space.add_lwpolyline(placed, close=closed, dxfattribs=look)
            if len(placed) == 3 and closed:  # an arrow's head
                self._space.add_solid(placed, dxfattribs={"layer": layer})

    def _rect(self, item: ET.Element, layer: str) -> None:
        x, y, width, height = (float(item.get(name, 0)) for name in ("x", "y", "width", "height"))
        corners = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
        self._space.add_lwpolyline(
            [self._place(corner) for corner in corners], close=True, dxfattribs=self._look(item, layer)
        )

    def _text(self, item: ET.Element, layer: str) -> None:
        content = " ".join("".join(item.itertext()).split())
        if not content:
            return
        point = np.array([float(item.get("x", 0)), float(item.get("y", 0))])
        turned = re.match(r"rotate\((\S+) (\S+) (\S+)\)", item.get("transform", ""))
        angle = 0.0
        if turned:
            angle, pivot = float(turned[1]), np.array([float(turned[2]), float(turned[3])])
            cos, sin = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
            point = pivot + np.array([[cos, -sin], [sin, cos]]) @ (point - pivot)
        from ezdxf.enums import TextEntityAlignment

        self._space.add_text(
            literal(content),
            height=CAP_HEIGHT * float(item.get("font-size", 0)) * self._per_mm,
            rotation=-angle,
            dxfattribs={"layer": layer},
        ).set_placement(self._place(point), align=TextEntityAlignment[ALIGN[item.get("text-anchor", "")]])


def literal(text: str) -> str:
    """Text of a TEXT entity in which nothing is a code: %%c, ^I and \\U+0041 are shown, a space apart."""
    shown = re.sub("%(?=%)", "% ", plain_text(text))
    return re.sub(r"\\(?=[UuMm]\+)", r"\\ ", shown.replace("^", "^ "))


def _subpaths(data: str) -> Iterator[tuple[Array, bool]]:
    """Polylines of path data as `polyline` writes it."""
    for part in data.split("M")[1:]:
        numbers = [float(value) for value in re.findall(r"-?[\d.]+", part)]
        yield np.array(numbers).reshape(-1, 2), "Z" in part
