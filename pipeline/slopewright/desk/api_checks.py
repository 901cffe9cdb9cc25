"""Tape measurements and the other party's numbers over HTTP."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from fastapi import APIRouter

from . import work
from .api_roof import roof_seen
from .bodies import Table
from .desk import Desk
from .jobfile import write_whole

TAPE_TABLE, TAPE_FILE = "tape.csv", "tape.json"
OTHER_TABLE, NAMES_TABLE, COMPARE_FILE = "other.csv", "names.toml", "compare.json"


def routes(desk: Desk) -> APIRouter:
    """The routes of what a desk's roofs are held against."""
    api = APIRouter(prefix="/api/jobs/{job}")
    places = desk.places

    @api.get("/checks")
    def checks(job: str) -> dict[str, Any]:
        return {
            "tape_table": _text(places.table(job, TAPE_TABLE)),
            "tape": _check(places.run(job) / TAPE_FILE),
            "other_table": _text(places.table(job, OTHER_TABLE)),
            "names_table": _text(places.table(job, NAMES_TABLE)),
            "comparison": _check(places.run(job) / COMPARE_FILE),
        }

    @api.put("/tape")
    def put_tape(job: str, body: Table) -> dict[str, Any]:
        with desk.in_hand(job) as folder:
            table = _keep(places.table(job, TAPE_TABLE), body.content)
            desk.hands.do(work.tape, folder, table, body.adjust)
            if body.adjust:
                desk.store.clear_redo(job)
        return roof_seen(desk, job)

    @api.put("/comparison")
    def put_comparison(job: str, body: Table) -> dict[str, Any]:
        with desk.in_hand(job) as folder:
            table = _keep(places.table(job, OTHER_TABLE), body.content)
            names = _keep(places.table(job, NAMES_TABLE), body.names)
            desk.hands.do(work.compare, folder, table, names if body.names.strip() else None)
        return roof_seen(desk, job)

    return api


def _keep(path: Path, content: str) -> Path:
    """Save what was entered before it is judged: a line that is refused can be mended there."""
    path.parent.mkdir(exist_ok=True)
    write_whole(path, content.encode())
    return path


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.is_file() else ""


def _check(path: Path) -> Any:
    return json.loads(path.read_text(encoding="utf-8")) if path.is_file() else None
