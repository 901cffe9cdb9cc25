"""The files of a run folder that later stages start from: the measured roof, the quantities."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from . import report
from .roof import Roof, Takeoff
from .scene import Notice

ROOF_FILE, COVARIANCE_FILE, TAKEOFF_FILE = "roof.json", "covariance.json", "takeoff.json"
ROOF_FILES = (ROOF_FILE, COVARIANCE_FILE)  # what the stages after the measuring start from


def write_roof(folder: Path, roof: Roof) -> None:
    """Write the measured roof."""
    (folder / ROOF_FILE).write_bytes(report.json_bytes(report.roof_json(roof)))
    (folder / COVARIANCE_FILE).write_bytes(report.json_bytes(report.covariance_json(roof.joint)))


def copy_roof(source: Path, target: Path) -> None:
    """Take over the measured roof of another folder, byte for byte."""
    for name in ROOF_FILES:
        if (source / name).exists():
            (target / name).write_bytes((source / name).read_bytes())


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


def read_takeoff(folder: Path, notices: tuple[Notice, ...]) -> Takeoff:
    """The quantities of a run folder, with the notices that run.json keeps for them.

    Raises
    ------
    InputError
        If the file is missing or not as it was written.
    """
    path = folder / TAKEOFF_FILE
    return replace(report.takeoff_from_json(report.read_json(path), file=str(path)), notices=notices)
