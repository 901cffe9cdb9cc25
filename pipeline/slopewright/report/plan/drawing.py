"""plan.svg: planes with pitch and area, edges with length, and what was not seen, true to scale."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely import LineString, Polygon

from ...roof import Edge, Plane, Roof
from ...scene import Array
from ...units import feet_and_inches
from ..colour import css_colour
from ..quantity import SQUARE_FEET, SQUARE_METRES, angle_text, rise_text
from ..text import shorten
from .column import draw_column
from .frame import draw_frame
from .placing import BESIDE_MM, Occupied, Side, Spot, inner_points, place_beside, place_with_leader, text_box
from .sheet import Sheet, choose_sheet
from .strokes import INFERRED_RADIUS_MM, STROKES, draw_arrow, draw_edge, draw_inferred
from .svg import FONT, INK, element, line, number, polyline, text, text_width

INFERRED = 0.5  # less than this share seen: inferred rather than measured
EDGE_SIZES_MM = (2.5, 2.2, 1.9)
ARROW_LENGTHS_MM = (9.0, 6.5, 4.5, 3.0)
PLANE_SIZES_MM = ((4.6, 2.6), (3.8, 2.2), (3.0, 1.9))  # of the letter and of what stands below it
LETTER_SIZES_MM = (3.6, 2.8, 2.2, 1.7)  # of a letter alone
ROOM_MM = (4.0, 3.4, 2.0, 1.0, 0.3)  # kept free between a plane's text and its outline
LINE_HEIGHT = 1.25
MOST_TRIES = 400  # places tried for a plane's text
KEY_SIZES_MM = (1.9, 1.6)  # of an id that stands for a length listed beside the drawing
WORD_SPACE_EM = 0.35


def plan_svg(roof: Roof, *, title: str = "", metric: bool = False) -> str:
    """The plan drawing.

    Parameters
    ----------
    roof : Roof
    title : str
        The job's name.
    metric : bool
        A4, metres and degrees instead of Letter, feet and inches in 12.

    Returns
    -------
    str
        SVG 1.1 in millimetres of paper, grid north up, at the scale it states.  Elements carry the numbers
        that they show: `data-id`, `data-kind`, `data-length-m`, `data-area-m2`, `data-pitch-deg`.
    """
    sheet = choose_sheet(roof.vertices[:, :2], len(roof.edges), metric=metric)
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{number(sheet.width_mm)}mm",
            "height": f"{number(sheet.height_mm)}mm",
            "viewBox": f"0 0 {number(sheet.width_mm)} {number(sheet.height_mm)}",
            "font-family": FONT,
            "fill": INK,
            "data-scale": str(sheet.scale),
        },
    )
    element(root, "title").text = shorten(f"Roof plan {title}", 300)
    _patterns(root)
    element(root, "rect", x=0.0, y=0.0, width=sheet.width_mm, height=sheet.height_mm, fill="white")

    at = sheet.place(roof.vertices[:, :2])
    lines = [LineString(at[[edge.start, edge.end]]) for edge in roof.edges]
    occupied = Occupied(sheet.field_mm, lines)

    _draw_planes(root, roof, at)
    edges = element(root, "g", id="edges", stroke_linecap="butt")
    for edge in sorted(roof.edges, key=_draw_order):
        _draw_edge(edges, roof, edge, at)
    _draw_objects(root, roof, sheet, occupied)
    faces = _visible_faces(roof, at)
    for plane in sorted(roof.planes, key=lambda p: -p.area.value):
        _label_plane(root, plane, faces[plane.id], occupied, metric=metric)
    labels = element(root, "g", id="lengths")
    by_length = sorted(roof.edges, key=lambda edge: edge.length.value)
    listed = [e for e in by_length if not _label_edge(labels, roof, e, at, occupied, metric=metric)]
    draw_frame(root, roof, sheet, title=title, metric=metric)
    draw_column(root, roof, sheet, listed, metric=metric)
    ET.indent(root, " ")
    return ET.tostring(root, encoding="unicode", xml_declaration=False) + "\n"


def length_text(length_m: float, *, metric: bool) -> str:
    """A length as the drawing has it."""
    return f"{length_m:.2f}" if metric else feet_and_inches(length_m)


def _patterns(root: ET.Element) -> None:
    pattern = element(
        element(root, "defs"),
        "pattern",
        id="inferred",
        width=2.4,
        height=2.4,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )
    element(pattern, "path", d="M0 0 V2.4", stroke=INK, stroke_width=0.25)


def _draw_order(edge: Edge) -> float:
    """Wide strokes first, so that a rake over a wall stays in sight."""
    stroke = STROKES[edge.kind]
    return -(stroke.width_mm + 10 * (stroke.double_mm + stroke.ticks_mm))


def _draw_planes(root: ET.Element, roof: Roof, at: Array) -> None:
    """Fills, the lower planes first: where one lies over another, the upper is seen."""
    group = element(root, "g", id="planes")

    def height(plane: Plane) -> float:
        return float(np.mean(roof.vertices[list(plane.loops[0]), 2]))

    for plane in sorted(roof.planes, key=height):
        path = " ".join(polyline(at[list(loop)], closed=True) for loop in plane.loops)
        made = element(
            group,
            "g",
            class_="plane",
            data_id=plane.id,
            data_area_m2=f"{plane.area.value:.6f}",
            data_pitch_deg=f"{plane.pitch_deg.value:.6f}",
        )
        element(made, "path", d=path, fill=css_colour(plane.pitch_deg.value), fill_rule="evenodd")
        if plane.observed < INFERRED:
            element(made, "path", d=path, fill="url(#inferred)", fill_rule="evenodd", opacity=0.35)


def _outward(roof: Roof, edge: Edge) -> Array:
    """Across an edge on the sheet, away from the first plane it bounds; unit."""
    along = roof.vertices[edge.end, :2] - roof.vertices[edge.start, :2]
    length = float(np.hypot(*along)) or 1.0
    right = np.array([along[1], -along[0]]) / length  # outward if the plane's ring runs along the edge
    for plane in roof.planes:
        if edge.planes and plane.id == edge.planes[0]:
            for loop in plane.loops:
                pairs = set(zip(loop, (*loop[1:], loop[0]), strict=True))
                if (edge.end, edge.start) in pairs:
                    right = -right
    outward: Array = right * np.array([1.0, -1.0])
    return outward


def _draw_edge(parent: ET.Element, roof: Roof, edge: Edge, at: Array) -> None:
    group = element(
        parent,
        "g",
        class_="edge",
        data_id=edge.id,
        data_kind=str(edge.kind),
        data_length_m=f"{edge.length.value:.6f}",
        data_observed=f"{edge.observed:.6f}",
    )
    start, end = at[edge.start], at[edge.end]
    draw_edge(group, edge.kind, start, end, _outward(roof, edge))
    if edge.observed < INFERRED:
        draw_inferred(group, (start + end) / 2)


def _visible_faces(roof: Roof, at: Array) -> dict[str, Polygon]:
    """Each plane on the sheet, without what higher planes hide of it."""
    shapes = {
        plane.id: shapely.make_valid(
            Polygon(at[list(plane.loops[0])], [at[list(loop)] for loop in plane.loops[1:]])
        )
        for plane in roof.planes
    }
    top = {plane.id: float(np.mean(roof.vertices[list(plane.loops[0]), 2])) for plane in roof.planes}
    visible = {}
    for name, shape in shapes.items():
        above = [other for key, other in shapes.items() if top[key] > top[name] and other.intersects(shape)]
        seen = shape.difference(shapely.union_all(above)) if above else shape
        parts = [part for part in shapely.get_parts(seen) if isinstance(part, Polygon)]
        visible[name] = max(parts, key=lambda part: part.area) if parts else Polygon()
    return visible


def _label_plane(root: ET.Element, plane: Plane, face: Polygon, occupied: Occupied, *, metric: bool) -> None:
    """Letter, pitch and area where they fit inside the plane, else the letter alone, and an arrow."""
    if face.is_empty:
        return
    pitch = angle_text(plane.pitch_deg.value) if metric else rise_text(plane.rise_in_12.value)
    unit = SQUARE_METRES if metric else SQUARE_FEET
    area = f"{plane.area.value / unit.si:,.{unit.decimals}f} {unit.name}"
    letter = shorten(plane.id, 6)
    blocks = [[(letter, big), (pitch, small), (area, small)] for big, small in PLANE_SIZES_MM]
    blocks += [[(letter, size)] for size in LETTER_SIZES_MM]
    points = inner_points(face, 1.0)
    group = element(root, "g", class_="plane-label", data_id=plane.id)
    taken = None
    for block in blocks:
        taken = _place_block(block, face, points, occupied)
        if taken is not None:
            _write_block(group, block, taken)
            break
    _place_arrow(group, plane, face, points, taken, occupied)


def _block_box(block: list[tuple[str, float]], middle: Array) -> Polygon:
    width = max(text_width(content, size) for content, size in block)
    return text_box(middle, width, sum(LINE_HEIGHT * size for _, size in block))


def _place_block(
    block: list[tuple[str, float]], face: Polygon, points: Array, occupied: Occupied
) -> Array | None:
    rooms = ROOM_MM[:2] if len(block) > 1 else ROOM_MM[2:]
    for room in rooms:
        inside = face.buffer(-room)
        if inside.is_empty:
            continue
        shapely.prepare(inside)
        for middle in points[shapely.contains_xy(inside, points[:, 0], points[:, 1])][:MOST_TRIES]:
            box = _block_box(block, middle)
            if inside.contains(box) and occupied.is_free(box):
                occupied.take(box)
                found: Array = middle
                return found
    return None


def _write_block(group: ET.Element, block: list[tuple[str, float]], middle: Array) -> None:
    y = middle[1] - sum(LINE_HEIGHT * size for _, size in block) / 2
    for i, (content, size) in enumerate(block):
        y += LINE_HEIGHT * size
        weight = {"font_weight": "bold"} if i == 0 else {}
        text(group, middle[0], y - 0.3 * size, content, size, text_anchor="middle", **weight)


def _place_arrow(
    group: ET.Element, plane: Plane, face: Polygon, points: Array, label: Array | None, occupied: Occupied
) -> None:
    """The arrow down the slope, near the plane's label, where it crosses nothing."""
    down = np.array([plane.normal[0], -plane.normal[1]])
    steepness = float(np.hypot(*down))
    if steepness < 0.01:  # under half a degree: it falls nowhere that matters
        return
    down = down / steepness
    near = points[:MOST_TRIES]
    if label is not None:
        near = near[np.argsort(np.hypot(*(near - label).T), kind="stable")]
    for length in ARROW_LENGTHS_MM:
        for middle in near:
            tail, tip = middle - length / 2 * down, middle + length / 2 * down
            box = LineString([tail, tip]).buffer(0.9, cap_style="flat")
            if face.contains(box) and occupied.is_free(box):
                occupied.take(box)
                draw_arrow(group, tail, tip)
                return


def _draw_objects(root: ET.Element, roof: Roof, sheet: Sheet, occupied: Occupied) -> None:
    """Chimneys, vents and the like: a crossed box of their size, turned as the plane lies."""
    planes = {plane.id: plane for plane in roof.planes}
    group = element(root, "g", id="objects")
    for thing in roof.objects:
        normal = planes[thing.plane].normal
        steepness = float(np.hypot(normal[0], normal[1]))
        down = normal[:2] / steepness if steepness > 1e-9 else np.array([0.0, -1.0])
        across = np.array([-down[1], down[0]])
        u, v = across * thing.size[0] / 2, down * thing.size[1] / 2 * float(normal[2])
        corners = sheet.place(np.array(thing.position[:2]) + np.array([u + v, u - v, -u - v, -u + v]))
        made = element(group, "g", class_="object", data_id=thing.id, data_kind=thing.kind)
        element(made, "path", d=polyline(corners, closed=True), fill="white", stroke=INK, stroke_width=0.2)
        for a, b in ((0, 2), (1, 3)):
            line(made, corners[a], corners[b], 0.12)
        occupied.take(Polygon(corners))
        name = shorten(f"{thing.id} {thing.kind}", 16)
        side = Side(start=corners[1], end=corners[2], outward=np.array([1.0, 0.0]))
        spot = place_with_leader(occupied, side, text_width(name, 1.0), EDGE_SIZES_MM[-1])
        if spot is not None:
            _write(made, spot, [(name, 1.0, "")])


def _label_edge(
    parent: ET.Element, roof: Roof, edge: Edge, at: Array, occupied: Occupied, *, metric: bool
) -> bool:
    """Letter, length and id of an edge; where only the id finds room, the length is to be listed: False."""
    length = length_text(edge.length.value, metric=metric)
    shown = f"({length})" if edge.observed < INFERRED else length
    edge_id = shorten(edge.id, 6)
    parts = [(STROKES[edge.kind].letter, 1.0, "bold"), (shown, 1.0, ""), (edge_id, 0.75, "")]
    width = sum(text_width(content, size) + WORD_SPACE_EM for content, size, _ in parts) - WORD_SPACE_EM
    side = Side(start=at[edge.start], end=at[edge.end], outward=_outward(roof, edge))
    stroke = STROKES[edge.kind]
    mark_mm = INFERRED_RADIUS_MM if edge.observed < INFERRED else 0.0
    beside = BESIDE_MM + max(mark_mm, stroke.double_mm, stroke.ticks_mm)
    spot = place_beside(occupied, side, width, EDGE_SIZES_MM, beside_mm=beside)
    spot = spot or place_with_leader(occupied, side, width, EDGE_SIZES_MM[-1])
    if spot is not None:
        _write(element(parent, "g", class_="length", data_id=edge.id), spot, parts)
        return True
    width = text_width(edge_id, 1.0)
    spot = place_beside(occupied, side, width, KEY_SIZES_MM, beside_mm=beside)
    spot = spot or place_with_leader(occupied, side, width, KEY_SIZES_MM[-1])
    if spot is not None:
        _write(element(parent, "g", class_="key", data_id=edge.id), spot, [(edge_id, 1.0, "")])
    return False


def _write(group: ET.Element, spot: Spot, parts: list[tuple[str, float, str]]) -> None:
    """Text at a spot, its parts of their own sizes, with its leader."""
    if spot.leader is not None:
        foot, end = spot.leader
        line(group, foot, end, 0.13)
        element(group, "circle", cx=foot[0], cy=foot[1], r=0.3)
    x, y = spot.middle
    turn = (
        {"transform": f"rotate({number(spot.angle_deg)} {number(x)} {number(y)})"} if spot.angle_deg else {}
    )
    made = text(
        group,
        x,
        y + 0.36 * spot.size_mm,
        "",
        spot.size_mm,
        text_anchor="middle",
        xml_space="preserve",
        **turn,
    )
    for content, size, weight in parts:
        bold = {"font_weight": weight} if weight else {}
        span = element(made, "tspan", font_size=size * spot.size_mm, **bold)
        span.text = content
        span.tail = " "
