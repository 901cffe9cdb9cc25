"""Roofs of a map, cut out of the tiles of a survey: which tiles each needs, and its points in one file."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from ..cloud import Tile, guid_of, las_bytes, open_tile, points_under, resolve_units, tiles_in
from ..errors import InputError
from ..runfolder import digest_file
from ..units import METRES_PER_UNIT
from .entry import Entry, folder_name
from .places import Places, write_whole
from .roofs_file import MappedRoof, RoofsFile
from .row import Row, Status

MARGIN_M = 12.0  # around a footprint: the ground within 6 m of it is looked at, and overhangs go beyond it
REACH_M = 30.0  # to each side of a point: a house, wherever in it the point lies
GUID_BYTES = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One roof's part of the survey."""

    entry: Entry
    shape: shapely.Geometry  # [tile's unit]
    box: tuple[float, float, float, float]  # [tile's unit]
    tiles: tuple[Path, ...]  # that its box touches
    guid: bytes  # of the tiles' content and the box: the file that has it need not be cut again


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """Tiles of one grid and unit."""

    tiles: tuple[Tile, ...]
    crs: str | None
    unit: str


def open_survey(folder: Path, unit: str | None) -> Survey:
    """The tiles of a folder.

    Raises
    ------
    InputError
        If there are none, one is damaged, or they are not of one grid and one unit.
    """
    paths = list(tiles_in(folder)) if folder.is_dir() else []
    if not paths:
        raise InputError(f"{folder}: no LAS or LAZ file in it, need a folder of tiles")
    tiles = tuple(open_tile(path) for path in paths)
    first = tiles[0]
    horizontal, _, _ = resolve_units(first.path.name, first.placement, unit)
    for tile in tiles[1:]:
        other, _, _ = resolve_units(tile.path.name, tile.placement, unit)
        if other != horizontal or tile.placement.crs != first.placement.crs:
            raise InputError(
                f"{tile.path.name}: not in the grid and unit of {first.path.name}, need tiles of one survey;"
                " give the others to a batch of their own"
            )
    return Survey(tiles=tiles, crs=first.placement.crs, unit=horizontal)


def plan_cuts(survey: Survey, roofs: RoofsFile, unit: str | None, places: Places) -> tuple[Cut, ...]:
    """What to cut for each roof.

    Raises
    ------
    InputError
        If the map is in a reference system that cannot be brought to the tiles', or no roof lies on them.
    """
    metres = METRES_PER_UNIT[survey.unit]
    shapes = _in_grid([roof.shape for roof in roofs.roofs], roofs.crs, survey)
    extents = np.array([tile.header.extent for tile in survey.tiles])
    digests = [digest_file(tile.path, "tile").sha256 for tile in survey.tiles]
    cuts = []
    for roof, shape in zip(roofs.roofs, shapes, strict=True):
        margin = (REACH_M if isinstance(shape, shapely.Point) else MARGIN_M) / metres
        west, south, east, north = shape.bounds
        box = (west - margin, south - margin, east + margin, north + margin)
        touched = np.flatnonzero(
            (extents[:, 0] <= box[2])
            & (extents[:, 2] >= box[0])
            & (extents[:, 1] <= box[3])
            & (extents[:, 3] >= box[1])
        )
        told = json.dumps([shapely.to_wkt(shape), box, [digests[k] for k in touched]])
        cuts.append(
            Cut(
                entry=_entry(roof, shape, unit, metres, places),
                shape=shape,
                box=box,
                tiles=tuple(survey.tiles[k].path for k in touched),
                guid=hashlib.sha256(told.encode()).digest()[:GUID_BYTES],
            )
        )
    if not any(cut.tiles for cut in cuts):
        west, south, east, north = (
            extents[:, 0].min(),
            extents[:, 1].min(),
            extents[:, 2].max(),
            extents[:, 3].max(),
        )
        raise InputError(
            f"no roof of the map lies on the tiles, which span x {west:.1f} to {east:.1f} and"
            f" y {south:.1f} to {north:.1f} {survey.unit}; is its reference system the right one?"
        )
    return tuple(cuts)


def cut_tile(task: dict[str, Any]) -> None:
    """Cut one tile for all roofs that need it, into a part a roof; in a process that may be killed.

    Parameters
    ----------
    task : dict
        As `tile_tasks` makes it.

    Raises
    ------
    InputError
        If the tile is damaged.
    """
    tile = open_tile(Path(task["tile"]))
    parts = [Path(part) for part in task["parts"]]
    for part, points in zip(parts, points_under(tile, np.array(task["boxes"])), strict=True):
        content = io.BytesIO()
        np.save(content, points)
        write_whole(part, content.getvalue())


def tile_tasks(cuts: Sequence[Cut], places: Places) -> list[dict[str, Any]]:
    """What is left to cut, a task a tile."""
    wanted: dict[Path, list[Cut]] = {}
    for cut in cuts:
        if not _is_done(cut):
            for tile in cut.tiles:
                if not _part(cut, tile, places).exists():
                    wanted.setdefault(tile, []).append(cut)
    return [
        {
            "tile": str(tile),
            "boxes": [cut.box for cut in of],
            "parts": [str(_part(cut, tile, places)) for cut in of],
        }
        for tile, of in sorted(wanted.items())
    ]


def join_parts(cuts: Sequence[Cut], places: Places, failed: Mapping[str, str]) -> dict[str, Row]:
    """One LAS file a roof, of the parts of its tiles; and a row for each that cannot have one.

    Parameters
    ----------
    cuts : sequence of Cut
    places : Places
    failed : mapping of str to str
        Tiles that could not be cut, and why.
    """
    lost = {}
    for cut in cuts:
        identity = cut.entry.id
        if _is_done(cut):
            continue
        bad = [failed[str(tile)] for tile in cut.tiles if str(tile) in failed]
        if bad or not cut.tiles:
            reason = bad[0] if bad else "no tile lies under it; is a tile missing?"
            lost[identity] = Row(id=identity, status=Status.REFUSED, reason=reason)
            continue
        parts = {tile: _part(cut, tile, places) for tile in cut.tiles}
        try:
            held = [(open_tile(tile), np.load(part)) for tile, part in parts.items()]
            if cut.entry.footprint is not None:
                ring = shapely.to_geojson(cut.shape)
                write_whole(cut.entry.footprint, f"{ring}\n".encode())
            write_whole(cut.entry.input_path, las_bytes(held, cut.guid))
        except InputError as error:
            lost[identity] = Row(id=identity, status=Status.REFUSED, reason=str(error))
        except OSError as error:
            lost[identity] = Row(id=identity, status=Status.FAILED, reason=f"its points: {error.strerror}")
        else:
            for part in parts.values():
                part.unlink()
    return lost


def _is_done(cut: Cut) -> bool:
    drawn = cut.entry.footprint is None or cut.entry.footprint.exists()
    return drawn and guid_of(cut.entry.input_path) == cut.guid


def _part(cut: Cut, tile: Path, places: Places) -> Path:
    named = hashlib.sha256(str(tile).encode()).hexdigest()[:8]
    return places.parts / f"{cut.guid.hex()}-{named}.npy"


def _entry(
    roof: MappedRoof, shape: shapely.Geometry, unit: str | None, metres: float, places: Places
) -> Entry:
    name = folder_name(roof.id)
    path = places.cuts / f"{name}.las"
    if isinstance(shape, shapely.Point):
        return Entry(id=roof.id, input_path=path, unit=unit, at=(shape.x, shape.y))
    return Entry(
        id=roof.id,
        input_path=path,
        unit=unit,
        footprint=places.cuts / f"{name}.geojson",
        footprint_m2=shape.area * metres**2,
    )


def _in_grid(shapes: Sequence[shapely.Geometry], crs: str | None, survey: Survey) -> list[shapely.Geometry]:
    """Shapes of the map in the coordinates of the tiles."""
    if crs is None:
        return list(shapes)
    if survey.crs is None:
        raise InputError(
            "the tiles do not say in which grid they are, and the map is in one: give the map in the tiles'"
            " own coordinates, without a reference system"
        )
    pyproj: Any = import_module("pyproj")
    try:
        source, target = pyproj.CRS.from_user_input(crs), pyproj.CRS.from_user_input(survey.crs)
        if target.is_compound:
            target = target.sub_crs_list[0]
        way = pyproj.Transformer.from_crs(source, target, always_xy=True)
    except pyproj.exceptions.ProjError as error:
        raise InputError(f"the map's reference system cannot be brought to the tiles' ({error})") from error
    moved = [
        shapely.transform(shape, lambda x, y: way.transform(x, y), interleaved=False) for shape in shapes
    ]
    if not np.isfinite(shapely.bounds(moved)).all():
        raise InputError("the map's reference system does not reach to the tiles, need another one")
    return moved
