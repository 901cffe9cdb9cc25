"""Photos, marks in them and where they were taken, over HTTP."""

from __future__ import annotations

import json
from typing import Any

from fastapi import APIRouter
from fastapi.responses import FileResponse

from ..errors import InputError
from . import work
from .bodies import Marks
from .cameras import seen_cameras
from .desk import Desk
from .jobfile import write_whole
from .kinds import kind_of

SIZES = {"thumb": 320, "preview": 1800, "full": None}  # longest side [px]
MARKS_FILE = "marks.json"
CAMERAS_FILE = "photos/cameras.json"


def routes(desk: Desk) -> APIRouter:
    """The routes of a desk's photos."""
    api = APIRouter(prefix="/api/jobs/{job}")
    places = desk.places

    @api.get("/photos/{name}/size")
    def size(job: str, name: str) -> dict[str, int]:
        from .pictures import size_of

        path = places.file(job, name)
        width, height = size_of(path)
        return {"width": width, "height": height}

    @api.get("/photos/{name}/{size}.jpg")
    def picture(job: str, name: str, size: str) -> FileResponse:
        path = places.file(job, name)
        if size not in SIZES or not path.is_file() or kind_of(name).name != "photo":
            raise InputError(f"{name}: no such photo of this job")
        made = places.cache(job) / f"{name}.{path.stat().st_mtime_ns}.{size}.jpg"
        if not made.exists():
            desk.hands.do(work.preview, path, made, SIZES[size])
        return FileResponse(made, media_type="image/jpeg")

    @api.get("/marks")
    def marks(job: str) -> dict[str, Any]:
        path = places.file(job, MARKS_FILE)
        if not path.exists():
            return {"marks": [], "fault": ""}
        from ..photos.marks import read_marks

        try:
            read_marks(path)
            return {"marks": json.loads(path.read_text(encoding="utf-8"))["marks"], "fault": ""}
        except InputError as error:
            return {"marks": [], "fault": str(error)}

    @api.put("/marks")
    def put_marks(job: str, body: Marks) -> dict[str, int]:
        from ..photos.marks import read_marks

        path = places.file(job, MARKS_FILE)
        content = {"format": "slopewright-marks", "version": 1, "marks": body.marks}
        trial = places.cache(job) / MARKS_FILE
        write_whole(trial, (json.dumps(content, indent=1, ensure_ascii=False) + "\n").encode())
        try:
            read_marks(trial)
        except InputError as error:
            raise InputError(str(error).replace(str(trial), MARKS_FILE)) from error
        trial.replace(path)
        return {"marks": len(body.marks)}

    @api.get("/cameras")
    def cameras(job: str) -> list[dict[str, Any]]:
        return seen_cameras(places.run(job) / CAMERAS_FILE)

    return api
