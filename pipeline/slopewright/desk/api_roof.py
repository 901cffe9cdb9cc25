"""A measured roof over HTTP: what the page draws, corrections with undo and redo, takeoff, files to save."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fastapi import APIRouter
from fastapi.responses import FileResponse

from ..errors import InputError
from . import work
from .bodies import NewEdit, Presentation, Statuses
from .desk import Desk
from .jobfile import read_form, save_form
from .plainwords import for_page
from .points import POINTS_FILE

STATUSES = {
    "in_scope": "in_scope",
    "retained": "retained",
    "by_others": "by_others",
    "excluded": "excluded",
    "code_item": "code_items",
}  # status of a line, and the list of [scope] that says so


def routes(desk: Desk) -> APIRouter:
    """The routes of a desk's roofs."""
    api = APIRouter(prefix="/api/jobs/{job}")
    places, store = desk.places, desk.store

    @api.get("/roof")
    def roof(job: str) -> dict[str, Any]:
        return roof_seen(desk, job)

    @api.get("/points")
    def points(job: str) -> FileResponse:
        made, measured = places.cache(job) / POINTS_FILE, places.output(job, "roof.json")
        if not made.exists() or made.stat().st_mtime < _measured_at(desk, job, measured):
            desk.hands.do(work.points, places.root, job)
        return FileResponse(made, media_type="application/octet-stream")

    @api.post("/edits")
    def new_edit(job: str, body: NewEdit) -> dict[str, Any]:
        with desk.in_hand(job) as folder:
            desk.hands.do(work.amend, folder, body.edit)
            store.clear_redo(job)
        return roof_seen(desk, job)

    @api.post("/undo")
    def undo(job: str) -> dict[str, Any]:
        with desk.in_hand(job) as folder:
            journal = _journal(folder)
            desk.hands.do(work.undo, folder)
            store.push_redo(job, journal[-1])
        return roof_seen(desk, job)

    @api.post("/redo")
    def redo(job: str) -> dict[str, Any]:
        with desk.in_hand(job) as folder:
            undone = store.redo(job)
            if not undone:
                raise InputError("nothing was undone, so there is nothing to redo")
            desk.hands.do(work.amend, folder, undone[-1])
            store.pop_redo(job)
        return roof_seen(desk, job)

    @api.put("/statuses")
    def put_status(job: str, body: Statuses) -> dict[str, Any]:
        folder = places.job(job)
        with desk.in_hand(job) as run:
            _require_run(run)
            before = read_form(folder)
            content = _with_status(before, body.item, body.status)
            _try_form(
                folder, before, content, lambda: desk.hands.do(work.measure_again, folder, run, _asked(run))
            )
        return roof_seen(desk, job)

    @api.put("/presentation")
    def put_presentation(job: str, body: Presentation) -> dict[str, Any]:
        folder = places.job(job)
        with desk.in_hand(job) as run:
            _require_run(run)
            before = read_form(folder)
            content = {**before, "system": {"name": body.system} if body.system else before["system"]}
            asked = {**_asked(run), "metric": body.metric}
            _try_form(folder, before, content, lambda: desk.hands.do(work.measure_again, folder, run, asked))
        return roof_seen(desk, job)

    @api.get("/outputs/{name:path}")
    def output(job: str, name: str, save: bool = False) -> FileResponse:
        path = places.output(job, name)
        shown = f"{job}-{path.name}"
        return FileResponse(path, filename=shown, content_disposition_type="attachment" if save else "inline")

    return api


def roof_seen(desk: Desk, job: str) -> dict[str, Any]:
    """All that the page shows of a measured roof."""
    folder = desk.places.run(job)
    if not (folder / "roof.json").is_file():
        raise InputError(f"{job}: not measured yet")
    record = _read(folder / "run.json")
    return {
        "roof": _read(folder / "roof.json"),
        "takeoff": _read(folder / "takeoff.json"),
        "not_certified": record["not_certified"],
        "warnings": [
            {**warning, "text": for_page(warning["text"], desk.places.root)} for warning in record["warnings"]
        ],
        "options": record["options"],
        "other_roofs": record["other_roofs"],
        "chosen": record["chosen"],
        "files": sorted(record["files"]),
        "version": record["slopewright"],
        "journal": _journal(folder),
        "redo": desk.store.redo(job),
        "system": _read(folder / "takeoff.json")["system"],
    }


def _journal(folder: Path) -> list[dict[str, Any]]:
    journal: list[dict[str, Any]] = _read(folder / "state.json").get("journal", [])
    return journal


def _read(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"{path.name}: missing or damaged, measure the job again") from error


def _require_run(folder: Path) -> None:
    if not (folder / "run.json").is_file():
        raise InputError("not measured yet: measure the job first")


def _asked(folder: Path) -> dict[str, Any]:
    """Options of a run that are not in job.toml."""
    options = _read(folder / "run.json")["options"]
    if options.get("footprint"):
        raise InputError("this run was made with a footprint on the command line, change it there")
    return {"at": options["at"], "metric": options["metric"]}


def _measured_at(desk: Desk, job: str, measured: Path) -> float:
    last = desk.store.last_run(job)
    return float(last["started"] or 0.0) if last else measured.stat().st_mtime


def _with_status(form: dict[str, Any], item: str, status: str | None) -> dict[str, Any]:
    scope = dict(form["scope"])
    for key in STATUSES.values():
        scope[key] = [other for other in scope[key] if other != item]
    if status is not None:
        scope[STATUSES[status]] = [*scope[STATUSES[status]], item]
    return {**form, "scope": scope}


def _try_form(
    folder: Path, before: dict[str, Any], content: dict[str, Any], work_on_it: Callable[[], None]
) -> None:
    """Save a form and do what follows from it; if that fails, the form is as it was."""
    save_form(folder, content)
    try:
        work_on_it()
    except BaseException:
        save_form(folder, before)
        raise
