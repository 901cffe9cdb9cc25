"""Jobs and their files over HTTP."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from fastapi import APIRouter, Request

from ..errors import InputError
from ..job import load_job
from ..job.systems import DEFAULT_SYSTEM, system_names
from .bodies import Form, NewJob
from .desk import BusyError, Desk
from .jobfile import read_form, save_form
from .kinds import kind_of
from .plainwords import for_page
from .progress import seen_run


def routes(desk: Desk) -> APIRouter:
    """The routes of a desk's jobs."""
    api = APIRouter(prefix="/api")
    places, store = desk.places, desk.store

    @api.get("/jobs")
    def jobs() -> list[dict[str, Any]]:
        return [_line(desk, job) for job in places.jobs()]

    @api.post("/jobs", status_code=201)
    def new_job(body: NewJob) -> dict[str, str]:
        job = places.new_job(body.name)
        if body.name.strip() != job:
            save_form(places.job(job), {"job": {"name": body.name.strip()}})
        return {"id": job}

    @api.get("/jobs/{job}")
    def one_job(job: str) -> dict[str, Any]:
        folder = places.job(job)
        desk.hands.warm()
        fault = ""
        try:
            form = read_form(folder)
        except InputError as error:
            form, fault = None, str(error)
        return {
            **_line(desk, job),
            "form": form,
            "form_fault": fault,
            "problem": fault or _problem(folder),
            "files": _files(folder),
            "run": seen_run(store, store.last_run(job)),
            "systems": system_names(),
            "usual_system": DEFAULT_SYSTEM,
        }

    @api.delete("/jobs/{job}")
    def delete_job(job: str) -> dict[str, str]:
        with desk.in_hand(job):
            token = places.discard(job)
            store.forget(job)
        return {"restore": token}

    @api.post("/deleted/{token}/restore")
    def restore_job(token: str) -> dict[str, str]:
        return {"id": places.restore(token)}

    @api.put("/jobs/{job}/form")
    def put_form(job: str, body: Form) -> dict[str, Any]:
        folder = places.job(job)
        save_form(folder, body.content)
        return {"form": read_form(folder), "problem": _problem(folder)}

    @api.get("/jobs/{job}/uploads/{name}")
    def received(job: str, name: str, size: int) -> dict[str, int]:
        return {"received": desk.receiver.received(job, name, size)}

    @api.put("/jobs/{job}/files/{name}")
    async def put_file(
        job: str, name: str, request: Request, size: int, offset: int = 0, replace: bool = False
    ) -> dict[str, int]:
        if store.busy(job):
            raise BusyError("the job is being measured; add files when it is done")
        have = await desk.receiver.receive(
            job, unquote(name), n_bytes=size, offset=offset, replace=replace, stream=request.stream()
        )
        return {"received": have}

    @api.delete("/jobs/{job}/files/{name}")
    def delete_file(job: str, name: str) -> dict[str, str]:
        with desk.in_hand(job):
            path = places.file(job, name)
            if not path.is_file():
                raise InputError(f"{name}: not a file of this job")
            aside = places.desk / "trash" / f"{path.stat().st_mtime_ns}-file"
            aside.mkdir(exist_ok=True)
            path.replace(aside / name)
        return {}

    return api


def _line(desk: Desk, job: str) -> dict[str, Any]:
    """What the list of jobs shows of one."""
    folder, run = desk.places.job(job), desk.places.run(job)
    files = _files(folder)
    last = desk.store.last_run(job)
    return {
        "id": job,
        "name": _name(folder, job),
        "photos": sum(file["kind"] == "photo" for file in files),
        "clouds": sum(file["kind"] == "cloud" for file in files),
        "n_bytes": sum(file["size"] for file in files),
        "changed": max([folder.stat().st_mtime, *(file["changed"] for file in files)]),
        "state": last["state"] if last else None,
        "result": _result(run),
    }


def _name(folder: Path, job: str) -> str:
    try:
        return str((read_form(folder)["job"] or {}).get("name") or job)
    except InputError:
        return job


def _result(run: Path) -> dict[str, Any] | None:
    """Total area of a run and whether it is certified."""
    try:
        roof = json.loads((run / "roof.json").read_text(encoding="utf-8"))
        record = json.loads((run / "run.json").read_text(encoding="utf-8"))
        return {
            "area": roof["totals"]["area"],
            "planes": len(roof["planes"]),
            "certified": not record["not_certified"],
        }
    except (OSError, ValueError, KeyError):
        return None


def _files(folder: Path) -> list[dict[str, Any]]:
    found = []
    for path in sorted(folder.iterdir()):
        if path.name.startswith(".") or not path.is_file() or path.is_symlink():
            continue
        stat = path.stat()
        found.append(
            {"name": path.name, "kind": _kind(path.name), "size": stat.st_size, "changed": stat.st_mtime}
        )
    return found


def _kind(name: str) -> str:
    try:
        return kind_of(name).name
    except InputError:
        return "other"


def _problem(folder: Path) -> str:
    """Why the job cannot be measured as it is; empty when it can be tried."""
    try:
        load_job(folder)
    except InputError as error:
        return for_page(str(error), folder.parent)
    return ""
