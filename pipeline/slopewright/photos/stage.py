"""From sorted photos to a block: placed, sized, level, with what is doubtful about each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import InputError
from ..scene import Array, Notice
from .cover import open_sides
from .doubt import camera_doubt
from .gps import GpsFit, fit_gps
from .level import Level, level_of
from .mapping import map_photos
from .marks import Mark, Marks
from .model import Block, Camera, PosedPhoto
from .placed import Model
from .read import Photo
from .scale import KnownLength, Scale, scale_of
from .spots import place_marks
from .targets import find_targets
from .triage import Triage, UsablePhoto
from .whole import sound_parts

MAX_NAMED = 4  # photos that a message names
WIDE_SCALE_U = 0.15  # by GPS, relative, beyond which it is no scale at all


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Parts:
    """What mapping left: the part to go on with, and what is told of the rest."""

    model: Model
    left_out: tuple[tuple[str, str], ...]
    notices: tuple[Notice, ...]


def place(triage: Triage, marks: Marks, known: Sequence[KnownLength], *, rng: np.random.Generator) -> Block:
    """Place photos by what they show, size them by known lengths, and level them.

    Parameters
    ----------
    triage : Triage
    marks : Marks
    known : KnownLength, ...
    rng : Generator

    Returns
    -------
    Block

    Raises
    ------
    InputError
        If the photos do not join, or nothing tells how large or how level it all is: one line.
    """
    usable = {usable.photo.name: usable for usable in triage.usable}
    marks.check_against({name: (u.photo.width_px, u.photo.height_px) for name, u in usable.items()})
    _check_enough(triage)
    parts = _choose(map_photos(triage.usable), marks, triage.usable)
    model = parts.model
    photos = {name: usable[name].photo for name in model.names}
    gps = fit_gps(model, photos)
    scale = _scale(model, marks, known, gps, photos)
    level = level_of(model, {name: usable[name].pixels for name in model.names}, gps, rng=rng)
    turn, north = _world(model, level, gps)
    middle = np.median(model.points, axis=0)
    posed = _posed(model, photos, turn, scale.metres, middle)
    block = Block(
        photos=posed,
        points=scale.metres * (model.points - middle) @ turn.T,
        seen_point=model.seen_point.astype(np.int32),
        seen_photo=model.seen_photo.astype(np.int32),
        origin=np.zeros(3),
        crs=None,
        scale_u=scale.u,
        tilt_u_rad=level.u_rad,
        scale_from=scale.source,
        level_from=level.source,
        left_out=(*triage.left_out, *parts.left_out),
        notices=(*_told_left_out(triage, parts), *parts.notices, *scale.notices, *level.notices, north),
    )
    sides = open_sides(block, north_known=gps is not None)
    return replace(block, notices=(*block.notices, *sides))


def _check_enough(triage: Triage) -> None:
    if len(triage.usable) < 2:
        why = "; ".join(f"{name}: {reason}" for name, reason in triage.left_out[:MAX_NAMED])
        raise InputError(
            f"photos: {len(triage.usable)} of {len(triage.usable) + len(triage.left_out)} photos can be"
            " used, need"
            f" two or more of the roof from different places" + (f" ({why})" if why else "")
        )


def _choose(models: tuple[Model, ...], marks: Marks, usable: tuple[UsablePhoto, ...]) -> _Parts:
    """The part that most marks can size, else the largest."""
    names = [u.photo.name for u in usable]
    sound = [sound_parts(model) for model in models]
    groups = [group for parts in sound for group in parts.groups]
    if not groups:
        raise InputError(
            f"photos: the {len(names)} photos do not join: too few spots are seen alike in two of them; take"
            " more,"
            " each overlapping the next by two thirds and at most 20° further round, or mark six or more"
            " corners"
            " of the house in all of them"
        )
    best = max(groups, key=lambda group: (_sized(group, marks.marks), len(group.names), len(group.points)))
    loose = {name for parts in sound for name in parts.loose} - set(best.names)
    others = [group for group in groups if group is not best and not set(group.names) & set(best.names)]
    left = []
    for name in names:
        if name in best.names:
            continue
        apart = next((group for group in others if name in group.names), None)
        if apart is not None:
            mates = _listed([mate for mate in apart.names if mate != name])
            why = f"joins only {mates}, not the photos that are measured"
        elif name in loose:
            why = "shares too few spots with the others to be counted on"
        else:
            why = "no overlap: too few spots are seen alike in any other photo"
        left.append((name, why))
    notices = [_apart(group) for group in others if len(group.names) > 1]
    return _Parts(model=best, left_out=tuple(left), notices=tuple(notices))


def _sized(group: Model, marks: tuple[Mark, ...]) -> bool:
    """Whether two marks at least are placed by a group's photos."""
    return sum(len(set(mark.photos) & set(group.names)) >= 2 for mark in marks) >= 2


def _apart(group: Model) -> Notice:
    text = (
        f"{len(group.names)} photos ({_listed(list(group.names))}) stand in a piece of their own and were"
        " not used:"
        " another house, or a side without overlap; take photos between the two, at most 10° apart, or mark"
        " corners that are seen in both pieces"
    )
    return Notice(code="photos_apart", text=text, about=group.names)


def _told_left_out(triage: Triage, parts: _Parts) -> tuple[Notice, ...]:
    """One notice for all photos that are not used, reasons and names."""
    left = (*triage.left_out, *parts.left_out)
    if not left:
        return ()
    total = len(triage.usable) + len(triage.left_out)
    shown = "; ".join(f"{name}: {why}" for name, why in left[:MAX_NAMED])
    more = f"; and {len(left) - MAX_NAMED} more, see photos/cameras.json" if len(left) > MAX_NAMED else ""
    text = f"{len(left)} of {total} photos are not used ({shown}{more})"
    return (Notice(code="photos_left_out", text=text, about=tuple(name for name, _ in left)),)


def _scale(
    model: Model,
    marks: Marks,
    known: Sequence[KnownLength],
    gps: GpsFit | None,
    photos: dict[str, Photo],
) -> Scale:
    if any(not length.check_only for length in known):
        targets = find_targets(model.names, photos, {n for length in known for n in length.boards})
        wanted = {name for length in known for name in length.marks or ()}
        ends = [mark for mark in marks.marks if mark.name in wanted]
        spots = place_marks(model, camera_doubt(model), [*ends, *targets.corners])
        scale = scale_of(spots, known, targets.rim)
        return Scale(
            metres=scale.metres, u=scale.u, source=scale.source, notices=(*spots.notices, *scale.notices)
        )
    if gps is None or gps.scale_u > WIDE_SCALE_U:
        why = (
            "GPS of the photos spreads too little for one"
            if gps
            else "the photos have no GPS that could stand in"
        )
        raise InputError(
            "photos: no known length, need a [[reference]] in job.toml with two marks in marks.json, or"
            " printed"
            f" targets; {why}"
        )
    text = (
        f"scale is by GPS of {gps.n_photos} photos alone, to {100 * gps.scale_u:.0f} % (standard"
        " uncertainty): areas"
        " are twice as doubtful; mark the ends of one taped length of 5 m or more in several photos"
    )
    return Scale(
        metres=gps.metres,
        u=gps.scale_u,
        source=f"GPS of {gps.n_photos} photos",
        notices=(Notice(code="scale_by_gps", text=text),),
    )


def _world(model: Model, level: Level, gps: GpsFit | None) -> tuple[Array, Notice]:
    """The turn from model to east, north and up; and what is known of north."""
    up = level.up
    ahead = gps.rotation[1] if gps is not None else model.rotation[0, 2]
    if np.linalg.norm(np.cross(up, ahead)) < 0.1:
        ahead = -model.rotation[0, 1]  # the first photo looks down: its upper side is ahead
    north = ahead - (ahead @ up) * up
    north = north / np.linalg.norm(north)
    if gps is None:
        text = f"north is not known, the photos have no GPS: azimuths count from where {model.names[0]} looks"
    else:
        text = f"north is by GPS of the photos, to {np.rad2deg(gps.north_u_rad):.0f}° (standard uncertainty)"
    return np.stack([np.cross(north, up), north, up]), Notice(code="north", text=text)


def _posed(
    model: Model, photos: dict[str, Photo], turn: Array, metres: float, middle: Array
) -> tuple[PosedPhoto, ...]:
    posed = []
    for i, name in enumerate(model.names):
        photo = photos[name]
        focal, x, y, k1, k2 = (float(value) for value in model.lens[i])
        posed.append(
            PosedPhoto(
                name=name,
                path=photo.path,
                camera=Camera(
                    width_px=photo.width_px,
                    height_px=photo.height_px,
                    focal_px=focal,
                    centre_px=(x, y),
                    k1=k1,
                    k2=k2,
                ),
                rotation=model.rotation[i] @ turn.T,
                translation=metres * (model.rotation[i] @ middle + model.translation[i]),
            )
        )
    return tuple(posed)


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - MAX_NAMED} more" if len(names) > MAX_NAMED else ""
    return ", ".join(names[:MAX_NAMED]) + more
