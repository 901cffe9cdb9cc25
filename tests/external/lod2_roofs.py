"""Roofs of published city models as exact roofs that can be scanned: faces, edges and walls.

Vienna's LoD2 (tests/data/vienna) and 3DBAG's LoD2.2 (tests/data/bag3d).  Metres, radians.  What the models
give as surfaces is cut into the cells of a plan and put together again, so that neighbours share their
edges exactly; surfaces in one plane that touch are one face, as they are to a person.
"""

import gzip
import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from external.vienna_roofs import building_parts
from simulate.edges_of import edges_of, sides_of
from simulate.truth import TruePlane, TrueRoof, TrueWall, downslope_azimuth
from slopewright.geometry.polygon import plane_from_polygon

BAG3D = Path(__file__).parent.parent / "data" / "bag3d" / "roofs.json.gz"

GRID_M = 0.01  # corners of a model closer than this are one
CELL_M2 = 0.05  # smaller cells go to a neighbour: slivers of the model
SAME_M, SAME_RAD = 0.05, math.radians(1.0)  # heights and slopes that differ by less are one plane
LEVEL = 0.03  # rise over run along an edge that is level: the models' corners are off by centimetres
STEEPEST_RAD = math.radians(72)

PLAN_M2 = (30.0, 800.0)
LEAST_FACE_M2 = 2.0
PITCHED_RAD = math.radians(5)
PITCHED_SHARE = 0.7


@dataclass(frozen=True, kw_only=True)
class PublishedRoof:
    """A roof of a city model, turned into an exact one that stands on level ground at 0 m."""

    source: str
    id: str
    truth: TrueRoof


def pitched_roofs() -> list[PublishedRoof]:
    """All roofs that a rule takes, in the order of the files: connected, pitched, of a house's size.

    The rule looks at the model alone: seven tenths of the plan are steeper than 5 degrees, no face is
    smaller than 2 m², steeper than 72 degrees or nowhere wider than 0.5 m, and no surface lies over another.
    """
    return [
        PublishedRoof(source=source, id=name, truth=truth)
        for source, name, surfaces, foot_m in _published()
        if (truth := true_roof(surfaces, foot_m)) is not None and _taken(truth)
    ]


def _published() -> Iterator[tuple[str, str, list[list[np.ndarray]], float]]:
    for part in building_parts():
        yield "Vienna", part.id, [list(surface.rings) for surface in part.surfaces], part.ground_z_m
    content = json.loads(gzip.decompress(BAG3D.read_bytes()))
    scale_m = content["scale_m"]
    for part in content["parts"]:
        surfaces = [[np.array(ring) * scale_m for ring in rings] for rings in part["roof"]]
        yield "3DBAG", part["id"], surfaces, part["foot"] * scale_m


def _taken(truth: TrueRoof) -> bool:
    pitched = sum(p.plan_area_m2 for p in truth.planes if p.pitch_rad > PITCHED_RAD)
    return (
        truth.footprint.geom_type == "Polygon"
        and PLAN_M2[0] <= truth.plan_area_m2 <= PLAN_M2[1]
        and pitched >= PITCHED_SHARE * truth.plan_area_m2
        and all(p.area_m2 >= LEAST_FACE_M2 and p.pitch_rad < STEEPEST_RAD for p in truth.planes)
        and all(not p.plan.buffer(-0.25).is_empty for p in truth.planes)
    )


def true_roof(surfaces: Sequence[Sequence[np.ndarray]], foot_m: float) -> TrueRoof | None:
    """The exact roof that a model's roof surfaces are, or None where they do not make one.

    Parameters
    ----------
    surfaces : sequence of sequences of arrays, each (k, 3) [m]
        Rings of each surface, the outer first; the first corner is not repeated.
    foot_m : float
        Height of the ground.

    Returns
    -------
    TrueRoof or None
        Moved so that the ground is at 0 and the middle of the plan at the origin.  None where surfaces lie
        over each other, stand upright or leave gaps.
    """
    corners = np.concatenate([rings[0] for rings in surfaces])
    shift = np.array([*np.round((corners.min(axis=0) + corners.max(axis=0))[:2] / 2), foot_m])
    plans, planes = [], []
    for rings in surfaces:
        moved = [ring - shift for ring in rings]
        normal, offset = plane_from_polygon(moved[0], moved[1:])
        if normal[2] < math.cos(math.radians(80)):
            return None
        plans.append(
            shapely.make_valid(shapely.Polygon(moved[0][:, :2], [ring[:, :2] for ring in moved[1:]]))
        )
        planes.append((-normal[0] / normal[2], -normal[1] / normal[2], offset / normal[2]))
    if sum(plan.area for plan in plans) > shapely.union_all(plans).area + 0.2:
        return None
    cells = _cells(plans)
    surface = [_owner(cell, plans) for cell in cells]
    if not cells or min(surface) < 0:
        return None
    surface = _merged(cells, surface, planes)
    return _assembled(cells, surface, planes)


def _cells(plans: Sequence[shapely.Geometry]) -> list[shapely.Polygon]:
    lines = shapely.union_all([shapely.boundary(plan) for plan in plans], grid_size=GRID_M)
    whole = shapely.union_all(plans).buffer(GRID_M)
    found = [orient(cell) for cell in shapely.polygonize([lines]).geoms]
    return [cell for cell in found if cell.area > CELL_M2 and whole.contains(cell.representative_point())]


def _owner(cell: shapely.Polygon, plans: Sequence[shapely.Geometry]) -> int:
    shares = [plan.intersection(cell).area / cell.area for plan in plans]
    best = int(np.argmax(shares))
    return best if shares[best] > 0.5 else -1


def _merged(
    cells: Sequence[shapely.Polygon], surface: Sequence[int], planes: Sequence[tuple[float, float, float]]
) -> list[int]:
    """Surfaces of touching cells that are in one plane, as the one with the lowest number."""
    group = list(range(len(planes)))

    def root(k: int) -> int:
        return k if group[k] == k else root(group[k])

    for (start, end), (left, right) in sides_of(cells).items():
        if left < 0 or right < 0:
            continue
        i, j = root(surface[left]), root(surface[right])
        (a, b, c), (d, e, f) = planes[i], planes[j]
        x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
        if i != j and math.hypot(a - d, b - e) < SAME_RAD and abs((a - d) * x + (b - e) * y + c - f) < SAME_M:
            group[max(i, j)] = min(i, j)
    return [root(k) for k in surface]


def _assembled(
    cells: Sequence[shapely.Polygon], surface: Sequence[int], planes: Sequence[tuple[float, float, float]]
) -> TrueRoof:
    faces: list[TruePlane] = []
    face_of_cell = [-1] * len(cells)
    for k in sorted(set(surface)):
        members = [i for i in range(len(cells)) if surface[i] == k]
        for part in shapely.get_parts(shapely.union_all([cells[i] for i in members])):
            for i in members:
                if part.buffer(GRID_M).contains(cells[i]):
                    face_of_cell[i] = len(faces)
            faces.append(_face(orient(part), planes[k], k))
    gradients = [planes[face.surface] for face in faces]
    return TrueRoof(
        kind="published",
        planes=tuple(faces),
        edges=edges_of(cells, face_of_cell, gradients, level=LEVEL, same_m=SAME_M),
        walls=tuple(_walls(cells, face_of_cell, gradients)),
    )


def _face(plan: shapely.Polygon, plane: tuple[float, float, float], surface: int) -> TruePlane:
    a, b, c = plane
    slant = math.sqrt(1 + a * a + b * b)
    normal = np.array([-a, -b, 1.0]) / slant

    def lifted(ring: shapely.LinearRing) -> np.ndarray:
        xy = np.array(ring.coords)[:-1]
        return np.column_stack([xy, xy @ (a, b) + c])

    return TruePlane(
        normal=normal,
        offset=c / slant,
        outer=lifted(plan.exterior),
        holes=tuple(lifted(ring) for ring in plan.interiors),
        area_m2=plan.area * slant,
        plan_area_m2=plan.area,
        hidden_m2=0.0,
        pitch_rad=math.atan(math.hypot(a, b)),
        azimuth_rad=downslope_azimuth(normal),
        surface=surface,
    )


def _walls(
    cells: Sequence[shapely.Polygon],
    face_of_cell: Sequence[int],
    planes: Sequence[tuple[float, float, float]],
) -> Iterator[TrueWall]:
    """Walls straight under free edges and steps: these models have no overhangs."""

    def heights(face: int, ends: np.ndarray) -> np.ndarray:
        return ends @ planes[face][:2] + planes[face][2]

    for (start, end), (left, right) in sides_of(cells).items():
        ends = np.array([start, end])
        f, g = face_of_cell[left], face_of_cell[right] if right >= 0 else -1
        if g < 0:
            top, foot = heights(f, ends), None
        else:
            top, foot = (
                np.maximum(heights(f, ends), heights(g, ends)),
                np.minimum(heights(f, ends), heights(g, ends)),
            )
            if (top - foot).max() < SAME_M:
                continue
        yield TrueWall(
            start=ends[0],
            end=ends[1],
            top_m=(float(top[0]), float(top[1])),
            foot_m=None if foot is None else (float(foot[0]), float(foot[1])),
        )
