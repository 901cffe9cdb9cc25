"""The way from a cloud to its roofs.  Metres."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from ..errors import InputError, NoRoofError
from ..scene import Array, Cloud, Labels, Notice, RoofPoints, Scene
from . import choice
from .buildings import cells_of_each, group, roof_cells
from .classes import Hints, foreign_points, noise_points, read_hints
from .config import IsolateConfig
from .cut import PointsByCell, Site, cut, zones_around
from .flat import Flatness, find_flat
from .ground import ground_surface
from .outline import outline
from .parts import plane_parts
from .raster import CellIndex, Grid, Mask, Surface, lay_grid, plan_extent, top_surface
from .seen import Border, border, ground_cells
from .stray import lowest_in_company, repeated
from .verdict import is_level, no_ground, no_roof, why

MIN_POINTS = 40  # fewer cannot show a roof of the least area at a point a square metre
PARCEL = 2.0  # a footprint so many times larger than the roof is a parcel, not an outline
PLAIN_SHARE = 0.6  # of an outline drops to the ground: then there is ground, whatever else there is
SEEN_SHARE = 0.3  # of the candidates' area stands on ground: then there is ground


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Raster:
    """The cloud as cells."""

    cell: CellIndex
    grid: Grid
    surface: Surface
    broad: Flatness  # flat in windows of the configured side
    fine: Flatness  # flat in the least windows
    hints: Hints
    lowest_m: Array  # the ground surface, if there is ground
    n_repeated: int  # points that repeat others and are left out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Candidate:
    """A group of roof cells."""

    number: int
    row: npt.NDArray[np.intp]
    column: npt.NDArray[np.intp]
    area_m2: float
    border: Border | None
    may_be_ground: bool = False  # level, and nothing lower around it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Layer:
    """What stands above a ground surface, or all there is where that is None."""

    labels: Labels  # groups of roof cells
    candidates: list[_Candidate]
    flat: Flatness
    ground_m: Array | None
    ground: Mask | None  # cells in which it is seen


def run(
    cloud: Cloud,
    config: IsolateConfig | None = None,
    *,
    at: tuple[float, float] | None = None,
    footprint: shapely.Polygon | None = None,
) -> Scene:
    """Find the roofs of a cloud and choose the one to measure.

    Parameters
    ----------
    cloud : Cloud
        A raw scene, or a cloud that was already cut: nothing needs to be said.
    config : IsolateConfig, optional
    at : tuple of two floats, optional
        Local position [m] of the roof to measure.
    footprint : shapely.Polygon, optional
        Its outline in local coordinates [m]; it outranks the one found here.

    Returns
    -------
    Scene
        Roofs r1, r2, ... by decreasing area.

    Raises
    ------
    NoRoofError
        If nothing in the cloud can be a roof, with the reason.
    InputError
        If both `at` and `footprint` are given, or no roof is where they say.
    """
    config = config or IsolateConfig()
    name = cloud.name or "cloud"
    if at is not None and footprint is not None:
        raise InputError(f"{name}: --at and --footprint: both given, need one of them")
    if len(cloud.xyz) < MIN_POINTS:
        raise NoRoofError(f"{name}: {len(cloud.xyz)} points, need at least {MIN_POINTS} to show a roof")
    raster = _rasterise(cloud, config)
    if not raster.broad.flat.any():
        raise NoRoofError(
            f"{name}: no flat surface in it that is less steep than"
            f" {math.degrees(config.slope_max_rad):.0f} degrees, need a cloud that shows a roof from above"
        )
    roofs, layer, reasons = _find(cloud, raster, config, trusting=footprint is not None)
    if not roofs:
        raise NoRoofError(f"{name}: {why(reasons)}")

    outlines = [outline(roof.row, roof.column, raster.grid) for roof in roofs]
    order = sorted(range(len(roofs)), key=lambda k: (-outlines[k].area, *outlines[k].bounds))
    roofs, outlines = [roofs[k] for k in order], [outlines[k] for k in order]
    asked: int | None = None
    given = False
    if at is not None:
        asked = choice.at_position(cloud, outlines, at, config)
    elif footprint is not None:
        asked = choice.by_footprint(cloud, outlines, footprint)
        given = footprint.area <= PARCEL * outlines[asked].area
        if given:
            outlines[asked] = shapely.Polygon(footprint.exterior)

    site = _site(cloud, raster, layer, [roof.number for roof in roofs], config)
    found = [
        cut(site, roof.number, f"r{k + 1}", outlines[k], config, given=given and k == asked)
        for k, roof in enumerate(roofs)
    ]
    chosen = asked
    if chosen is None:
        low, high = plan_extent(cloud.xyz)
        chosen = choice.near_middle((low + high) / 2, float(np.hypot(*(high - low))), found)
    return Scene(
        roofs=tuple(found),
        chosen=chosen,
        notices=_notices(cloud, found, chosen, asked is not None, layer, roofs[chosen], raster.n_repeated),
    )


def _rasterise(cloud: Cloud, config: IsolateConfig) -> _Raster:
    grid = lay_grid(cloud.xyz, config)
    again = repeated(cloud.xyz, grid.index(cloud.xyz))
    if again is not None:
        grid = lay_grid(cloud.xyz[~again], config)
    cell = grid.index(cloud.xyz)
    cell[noise_points(cloud)] = -1
    if again is not None:
        cell[again] = -1
    surface = top_surface(cloud.xyz, cell, grid)
    surface = replace(surface, low_m=lowest_in_company(cloud.xyz, cell, grid))
    broad, fine = find_flat(surface, grid, config)
    lowest_m = ground_surface(surface.low_m, grid)
    hints = read_hints(cloud, cell, grid, surface, broad, lowest_m, config)
    return _Raster(
        cell=cell,
        grid=grid,
        surface=surface,
        broad=broad,
        fine=fine,
        hints=hints,
        lowest_m=lowest_m,
        n_repeated=0 if again is None else int(again.sum()),
    )


def _find(
    cloud: Cloud, raster: _Raster, config: IsolateConfig, *, trusting: bool
) -> tuple[list[_Candidate], _Layer, list[tuple[float, str]]]:
    """Roofs above the ground; where that turns out not to be ground, roofs without it."""
    layer = _layer(cloud, raster, raster.lowest_m, config)
    nothing_stands = not layer.candidates
    if not (raster.hints.has_ground or _stands(layer.candidates)):
        # A tight crop on a slope, if the house stands plainly on it; else there is no ground.
        tilted_m = ground_surface(raster.surface.low_m, raster.grid, tight=True)
        layer = _layer(cloud, raster, tilted_m, config)
        if not _stands_plainly(layer.candidates):
            layer = _layer(cloud, raster, None, config)
    roofs: list[_Candidate] = []
    reasons: list[tuple[float, str]] = []
    for candidate in layer.candidates:
        if candidate.border is not None and candidate.border.is_mound:
            reasons.append((candidate.area_m2, "a rise of the ground and no roof on it"))
            continue
        parts = plane_parts(candidate.row, candidate.column, layer.flat, raster.grid, config.plane_min_m2)
        reason = no_roof(parts, candidate.area_m2)
        if not reason and candidate.border is not None and not candidate.border.has_ground:
            reason = "level ground at a step of the terrain" if is_level(parts) else ""
        if not reason and layer.ground_m is None and not trusting:
            reason = no_ground(parts, candidate.area_m2, nothing_stands)
            candidate = replace(candidate, may_be_ground=is_level(parts))
        if reason:
            reasons.append((candidate.area_m2, reason))
        else:
            roofs.append(candidate)
    return roofs, layer, reasons


def _layer(cloud: Cloud, raster: _Raster, ground_m: Array | None, config: IsolateConfig) -> _Layer:
    grid, surface = raster.grid, raster.surface
    mask, flat = roof_cells(
        cloud.xyz,
        raster.cell,
        grid,
        surface,
        raster.broad,
        raster.fine,
        ground_m,
        raster.hints.building,
        config,
    )
    ground = None if ground_m is None else ground_cells(surface, ground_m) & ~mask
    labels = group(mask, ground, grid)
    candidates = []
    mean_m = surface.mean_m
    for number, row, column in cells_of_each(labels):
        area_m2 = len(row) * grid.cell_m**2
        if area_m2 < config.area_min_m2:
            continue
        edge = None
        if ground_m is not None and ground is not None:
            edge = border(row, column, mean_m, ground, ground_m, grid, config)
        candidates.append(_Candidate(number=number, row=row, column=column, area_m2=area_m2, border=edge))
    return _Layer(labels=labels, candidates=candidates, flat=flat, ground_m=ground_m, ground=ground)


def _stands(candidates: list[_Candidate]) -> bool:
    """Whether ground lies below the candidates: plainly for one of them, or for much of their area."""
    stands_m2 = sum(c.area_m2 for c in candidates if c.border is not None and c.border.has_ground)
    much = stands_m2 > 0 and stands_m2 >= SEEN_SHARE * sum(c.area_m2 for c in candidates)
    return much or _stands_plainly(candidates)


def _stands_plainly(candidates: list[_Candidate]) -> bool:
    borders = [c.border for c in candidates if c.border is not None]
    return any(border.has_ground and border.drops >= PLAIN_SHARE for border in borders)


def _site(cloud: Cloud, raster: _Raster, layer: _Layer, numbers: list[int], config: IsolateConfig) -> Site:
    labels = np.where(np.isin(layer.labels, numbers), layer.labels, 0)
    roof: Mask = labels > 0
    foreign = None
    if raster.hints.trusted:
        foreign = foreign_points(cloud, raster.cell, raster.grid, layer.flat, roof)
    return Site(
        cloud=cloud,
        by_cell=PointsByCell.of(raster.cell, raster.grid),
        grid=raster.grid,
        labels=labels,
        windows={k: w for k, w in enumerate(ndimage.find_objects(labels), start=1) if w is not None},
        zones=zones_around(labels, raster.grid, config.margin_m),
        ground_m=layer.ground_m,
        ground=layer.ground,
        roof_m=np.where(roof & layer.flat.flat, layer.flat.height_m, np.nan),
        foreign=foreign,
    )


def _notices(
    cloud: Cloud,
    found: list[RoofPoints],
    chosen: int,
    asked: bool,
    layer: _Layer,
    candidate: _Candidate,
    n_repeated: int,
) -> tuple[Notice, ...]:
    about = (found[chosen].id,)
    notices = []
    if n_repeated:
        text = f"{n_repeated:,} points repeat others to within millimetres and were left out"
        notices.append(Notice(code="points_repeated", text=text))
    if len(found) > 1:
        notices.append(choice.others_notice(cloud, found, chosen, asked=asked))
    if candidate.may_be_ground:
        text = (
            "a level surface with nothing lower around it may be a floor or a lawn:"
            " that it is a roof is only said, give its outline with --footprint to say so"
        )
        notices.append(Notice(code="may_be_ground", text=text, about=about))
    if layer.ground_m is None:
        text = "no ground was seen around the roof: heights above it are not known"
        notices.append(Notice(code="no_ground", text=text, about=about))
    return tuple(notices)
