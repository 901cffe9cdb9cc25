"""The courses of a run folder: layout.json and a drawing a plane, written and kept with the quantities."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from . import report, takeoff
from .roof import Roof, TakeoffRequest

LAYOUT_FILE, COURSES_FOLDER = "layout.json", "courses"
PLAIN_NAME = re.compile(r"[A-Za-z0-9_-]{1,40}")  # ids of planes that may name a file


def write_layout(folder: Path, roof: Roof, system: takeoff.System, request: TakeoffRequest) -> None:
    """Lay the courses and write them; nothing where there is nothing to lay."""
    courses = takeoff.lay_out(roof, system, request)
    if courses is None:
        return
    content, drawings = takeoff.layout_files(courses, system=system.name)
    (folder / LAYOUT_FILE).write_bytes(report.json_bytes(content))
    (folder / COURSES_FOLDER).mkdir()
    for number, (plane, drawing) in enumerate(drawings.items(), start=1):
        name = plane if PLAIN_NAME.fullmatch(plane) else f"plane-{number}"
        (folder / COURSES_FOLDER / f"{name}.svg").write_text(drawing, encoding="utf-8")


def copy_layout(source: Path, target: Path) -> None:
    """Take over the courses of another folder, byte for byte."""
    if (source / LAYOUT_FILE).is_file():
        shutil.copyfile(source / LAYOUT_FILE, target / LAYOUT_FILE)
    if (source / COURSES_FOLDER).is_dir():
        shutil.copytree(source / COURSES_FOLDER, target / COURSES_FOLDER)
