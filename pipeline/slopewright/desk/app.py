"""The server as one ASGI application: routes, files of the page, errors in one line, the guard around all."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import FileResponse, JSONResponse, Response
from starlette.types import ASGIApp

from ..errors import SlopewrightError
from . import api_checks, api_jobs, api_photos, api_roof, api_runs
from .desk import BusyError, Desk
from .guard import Guard
from .jobfile import FormFault
from .plainwords import for_page
from .uploads import OffsetError

STATIC = Path(__file__).parent / "static"
TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}


def make_app(desk: Desk, *, token: str, port: int) -> ASGIApp:
    """The application of a desk that is prepared.

    Parameters
    ----------
    desk : Desk
    token : str
        The key in the opening address.
    port : int
        Where it will listen; other addresses are refused.
    """

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        desk.open()
        yield
        desk.close()

    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan)
    for part in (api_jobs, api_runs, api_roof, api_checks, api_photos):
        app.include_router(part.routes(desk))

    @app.get("/")
    def page() -> FileResponse:
        return FileResponse(STATIC / "index.html", media_type="text/html")

    @app.get("/assets/{name}")
    def asset(name: str) -> Response:
        path = STATIC / "assets" / name
        if path.parent != STATIC / "assets" or not path.is_file() or path.suffix not in TYPES:
            return JSONResponse({"text": "no such file"}, 404)
        return FileResponse(path, media_type=TYPES[path.suffix])

    @app.exception_handler(SlopewrightError)
    def refused(_request: Request, error: SlopewrightError) -> JSONResponse:
        content: dict[str, object] = {"text": for_page(str(error), desk.places.root)}
        status = 422
        if isinstance(error, FormFault):
            content["field"] = error.field
        if isinstance(error, OffsetError):
            content["received"], status = error.received, 409
        if isinstance(error, BusyError):
            status = 409
        return JSONResponse(content, status)

    @app.exception_handler(RequestValidationError)
    def misunderstood(_request: Request, error: RequestValidationError) -> JSONResponse:
        fault = error.errors()[0]
        place = ".".join(str(step) for step in fault["loc"] if step != "body")
        return JSONResponse({"text": f"{place}: {fault['msg']}", "field": place}, 422)

    @app.exception_handler(Exception)
    def failed(_request: Request, error: Exception) -> JSONResponse:
        return JSONResponse({"text": f"internal failure, {type(error).__name__}; nothing was changed"}, 500)

    return Guard(app, token=token, port=port)
