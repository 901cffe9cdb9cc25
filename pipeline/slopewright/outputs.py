"""The files of a run folder that later stages start from: the measured roof, the quantities."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from . import adjust, report
from .photos import Block, evidence_of
from .report.colour import css_colour
from .report.plan.strokes import STROKES
from .roof import Roof, Takeoff
from .scene import Notice

if TYPE_CHECKING:
    from .photos.objects import FoundObject

ROOF_FILE, COVARIANCE_FILE, STATE_FILE = "roof.json", "covariance.json", "state.json"
TAKEOFF_FILE = "takeoff.json"
PHOTOS_FOLDER = "photos"
ROOF_FILES = (ROOF_FILE, COVARIANCE_FILE)  # what the stages after the measuring start from


def write_roof(folder: Path, roof: Roof) -> None:
    """Write the measured roof."""
    (folder / ROOF_FILE).write_bytes(report.json_bytes(report.roof_json(roof)))
    (folder / COVARIANCE_FILE).write_bytes(report.json_bytes(report.covariance_json(roof.joint)))
    if roof.state is not None:
        (folder / STATE_FILE).write_bytes(report.json_bytes(report.state_json(roof.state, roof.frame)))


def write_photos(folder: Path, files: dict[str, bytes]) -> None:
    """Write what photos showed: names are paths below the folder."""
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)


def photo_pictures(block: Block, roof: Roof, things: tuple[FoundObject, ...]) -> dict[str, bytes]:
    """What photos show of a roof, in the look of the other drawings: contents by path below the folder."""
    from .photos.overlay import Looks, Stroke  # with OpenCV, which clouds do not need

    def rgb(pitch_deg: float) -> tuple[int, int, int]:
        red, green, blue = bytes.fromhex(css_colour(pitch_deg).removeprefix("#"))
        return red, green, blue

    strokes = {
        kind: Stroke(
            letter=stroke.letter,
            width_mm=stroke.width_mm,
            dashes_mm=tuple(float(part) for part in stroke.dashes.split()),
        )
        for kind, stroke in STROKES.items()
    }
    return evidence_of(block, roof, Looks(colour=rgb, strokes=strokes), things)


def copy_roof(source: Path, target: Path) -> None:
    """Take over the measured roof of another folder and what photos showed of it, byte for byte."""
    for name in (*ROOF_FILES, STATE_FILE):
        if (source / name).exists():
            (target / name).write_bytes((source / name).read_bytes())
    shown = [path for path in sorted((source / PHOTOS_FOLDER).rglob("*")) if path.is_file()]
    write_photos(target, {path.relative_to(source).as_posix(): path.read_bytes() for path in shown})


def read_roof(folder: Path) -> Roof:
    """The measured roof of a run folder.

    Raises
    ------
    InputError
        If a file is missing or not as it was written.
    """
    path, joint_path = folder / ROOF_FILE, folder / COVARIANCE_FILE
    return report.roof_from_json(
        report.read_json(path),
        file=str(path),
        covariance=report.read_json(joint_path) if joint_path.exists() else None,
        covariance_file=str(joint_path),
    )


def read_editable(folder: Path) -> Roof:
    """The measured roof of a run folder with its state: measured again from it, every edit since replayed.

    Raises
    ------
    InputError
        If the file is missing or not as it was written.
    """
    path = folder / STATE_FILE
    state, frame, journal = report.state_from_json(report.read_json(path), file=str(path))
    as_measured = replace(adjust.measured(state, frame), objects=read_roof(folder).objects)
    return adjust.replay(as_measured, journal)


def read_takeoff(folder: Path, notices: tuple[Notice, ...]) -> Takeoff:
    """The quantities of a run folder, with the notices that run.json keeps for them.

    Raises
    ------
    InputError
        If the file is missing or not as it was written.
    """
    path = folder / TAKEOFF_FILE
    return replace(report.takeoff_from_json(report.read_json(path), file=str(path)), notices=notices)
