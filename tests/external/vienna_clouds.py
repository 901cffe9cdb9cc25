"""Clouds sampled from Vienna's pitched roofs, measured by the whole chain, held against the published key.

Used by test_vienna_clouds.py and by tests/benchmarks/vienna_study.py.  Metres, degrees.
"""

import math
from dataclasses import dataclass

import numpy as np
import shapely

from external.vienna_roofs import BuildingPart, RoofSurface, building_parts
from slopewright import adjust, edges, isolate, planes
from slopewright.errors import SlopewrightError
from slopewright.geometry.polygon import plan_area, plane_from_polygon
from slopewright.roof import Frame, Plane, Roof
from slopewright.scene import Cloud

ROOF_TYPES = {"SATTELDACH": "gable", "PULTDACH": "shed", "WALMDACH": "hip"}
PLAN_M2 = (40.0, 600.0)
LEAST_FACE_M2 = 4.0
PITCHES_DEG = (5.0, 60.0)

DENSITY_PER_M2 = 20.0  # of roof surface
NOISE_M = 0.02  # standard deviation, alike in all directions
GROUND_REACH_M = 4.0


def pitched_roofs() -> list[BuildingPart]:
    """Gable, shed and hip roofs by rule, not by result, in the order of their ids.

    All of a part's surfaces make the roof; every one of them is pitched and large enough to see; no other
    part's roof lies over or under it.
    """
    plans = {part.id: _plan(part.surfaces) for part in building_parts()}
    tree = shapely.STRtree(list(plans.values()))

    def is_overlapped(part: BuildingPart) -> bool:
        near = tree.geometries[tree.query(plans[part.id])]
        return sum(plans[part.id].intersection(plan).area for plan in near) > plans[part.id].area + 0.1

    return sorted(
        (
            part
            for part in building_parts()
            if part.roof_type in ROOF_TYPES
            and PLAN_M2[0] <= sum(plan_area(s.rings[0], s.rings[1:]) for s in part.surfaces) <= PLAN_M2[1]
            and all(s.area_m2 > LEAST_FACE_M2 for s in part.surfaces)
            and all(PITCHES_DEG[0] <= s.pitch_deg <= PITCHES_DEG[1] for s in part.surfaces)
            and not is_overlapped(part)
        ),
        key=lambda part: part.id,
    )


def sample_cloud(part: BuildingPart, rng: np.random.Generator) -> Cloud:
    """Points at random on the roof's surfaces and on the level ground around it; no walls."""
    plan = _plan(part.surfaces)
    around = plan.buffer(GROUND_REACH_M).difference(plan)
    patches = [_scatter(_plan([s]), *plane_from_polygon(s.rings[0], s.rings[1:]), rng) for s in part.surfaces]
    patches.append(_scatter(around, np.array([0.0, 0.0, 1.0]), part.ground_z_m, rng))
    exact = np.concatenate(patches)
    origin = np.array([*np.round(plan.centroid.coords[0]), np.floor(part.ground_z_m)])
    return Cloud(
        xyz=exact + rng.normal(0.0, NOISE_M, exact.shape) - origin,
        origin=origin,
        name=part.id,
    )


def measure(cloud: Cloud) -> Roof:
    """The chain from a cloud to a roof, as run.py orders it."""
    scene = isolate.run(cloud)
    points = scene.roofs[scene.chosen]
    segmentation = planes.run(points)
    topology = edges.run(points, segmentation)
    frame = Frame(origin=cloud.origin, crs=cloud.crs, ground_z_m=points.ground_z_m)
    return adjust.run(points, segmentation, topology, frame)


@dataclass(frozen=True, kw_only=True)
class FaceResult:
    """A published surface and the measured plane that covers most of it."""

    surface: RoofSurface
    covered: float  # share of the surface's plan under that plane
    pitch_error_deg: float  # measured less published
    sampling_sd_deg: (
        float  # of the pitch of a least-squares plane through its points, all of them and no others
    )

    @property
    def tolerance_deg(self) -> float:
        """0.3 degrees, or what the sampled points themselves leave open on a small face."""
        return max(0.3, 3 * self.sampling_sd_deg)


@dataclass(frozen=True, kw_only=True)
class RoofResult:
    """A roof as measured from its sampled cloud."""

    part: BuildingPart
    area_m2: float  # published
    area_error: float  # measured less published, relative; nan if refused
    area_half_width: float  # half the width of the 95 % bounds, relative
    n_planes: int
    faces: tuple[FaceResult, ...]
    refused: str = ""

    @property
    def area_is_right(self) -> bool:
        return abs(self.area_error) <= 0.01

    @property
    def pitches_are_right(self) -> bool:
        return bool(self.faces) and all(
            f.covered > 0.5 and abs(f.pitch_error_deg) <= f.tolerance_deg for f in self.faces
        )


def study(part: BuildingPart, rng: np.random.Generator) -> RoofResult:
    """Sample one roof, measure it, compare it with what is published."""
    area_m2 = sum(s.area_m2 for s in part.surfaces)
    cloud = sample_cloud(part, rng)
    try:
        roof = measure(cloud)
    except SlopewrightError as error:
        return RoofResult(
            part=part,
            area_m2=area_m2,
            area_error=math.nan,
            area_half_width=math.nan,
            n_planes=0,
            faces=(),
            refused=str(error),
        )
    return RoofResult(
        part=part,
        area_m2=area_m2,
        area_error=roof.area.value / area_m2 - 1,
        area_half_width=roof.area.half_width / area_m2,
        n_planes=len(roof.planes),
        faces=tuple(_face_result(surface, roof) for surface in part.surfaces),
    )


def _face_result(surface: RoofSurface, roof: Roof) -> FaceResult:
    plan = _plan([surface])
    shares = [plan.intersection(_measured_plan(plane, roof)).area / plan.area for plane in roof.planes]
    best = int(np.argmax(shares))
    return FaceResult(
        surface=surface,
        covered=shares[best],
        pitch_error_deg=roof.planes[best].pitch_deg.value - surface.pitch_deg,
        sampling_sd_deg=_sampling_sd_deg(surface),
    )


def _sampling_sd_deg(surface: RoofSurface) -> float:
    """Closed form: noise over (root of the count times the spread of the points along the fall)."""
    plan = _plan([surface])
    normal, _ = plane_from_polygon(surface.rings[0], surface.rings[1:])
    fall = normal[:2] / np.hypot(*normal[:2])
    inside = _scatter_plan(plan, 4000, np.random.default_rng(0)) @ fall
    spread_m = float(inside.std()) / math.cos(math.radians(surface.pitch_deg))
    return math.degrees(NOISE_M / (math.sqrt(DENSITY_PER_M2 * surface.area_m2) * spread_m))


def _measured_plan(plane: Plane, roof: Roof) -> shapely.Geometry:
    outer, *holes = [(roof.ring(loop) + roof.frame.origin)[:, :2] for loop in plane.loops]
    return shapely.make_valid(shapely.Polygon(outer, holes))


def _plan(surfaces: tuple[RoofSurface, ...] | list[RoofSurface]) -> shapely.Geometry:
    """The surfaces seen from above, as one."""
    flat = [shapely.Polygon(s.rings[0][:, :2], [hole[:, :2] for hole in s.rings[1:]]) for s in surfaces]
    return shapely.union_all([shapely.make_valid(polygon) for polygon in flat])


def _scatter(
    plan: shapely.Geometry, normal: np.ndarray, offset: float, rng: np.random.Generator
) -> np.ndarray:
    """Points at random on the part of the plane normal . x = offset that lies over `plan`."""
    count = rng.poisson(DENSITY_PER_M2 * plan.area / normal[2])
    xy = _scatter_plan(plan, count, rng)
    return np.column_stack([xy, (offset - xy @ normal[:2]) / normal[2]])


def _scatter_plan(plan: shapely.Geometry, count: int, rng: np.random.Generator) -> np.ndarray:
    """`count` points at random inside `plan`."""
    low, high = np.reshape(plan.bounds, (2, 2))
    kept = np.empty((0, 2))
    while len(kept) < count:
        tried = rng.uniform(low, high, (2 * count + 16, 2))
        kept = np.concatenate([kept, tried[shapely.contains_xy(plan, *tried.T)]])
    return kept[:count]
