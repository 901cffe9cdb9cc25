"""The queue over HTTP, and its progress as server-sent events.

References
----------
.. [1] WHATWG, HTML Living Standard, 9.2 Server-sent events.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool

from ..errors import InputError
from .bodies import NewRun
from .desk import Desk
from .progress import seen_run

LOOK_S = 0.3  # between two looks for news
SILENCE_S = 15.0  # after which a line keeps the stream from being taken for dead


def routes(desk: Desk) -> APIRouter:
    """The routes of a desk's queue."""
    api = APIRouter(prefix="/api")
    places, store = desk.places, desk.store

    @api.post("/jobs/{job}/runs", status_code=202)
    def new_run(job: str, body: NewRun) -> dict[str, int]:
        n_bytes = sum(path.stat().st_size for path in places.job(job).iterdir() if path.is_file())
        with desk.in_hand(job):
            return {"number": store.enqueue(job, body.model_dump(), n_bytes)}

    @api.delete("/jobs/{job}/runs/{number}")
    def cancel_run(job: str, number: int) -> dict[str, Any]:
        run = store.run(number)
        if run is None or run["job"] != job:
            raise InputError(f"{number}: no such run of {job}")
        desk.scheduler.cancel(number)
        return {}

    @api.get("/events")
    async def events(request: Request) -> StreamingResponse:
        return StreamingResponse(_news(desk, request), media_type="text/event-stream")

    return api


async def _news(desk: Desk, request: Request) -> AsyncIterator[str]:
    """The newest run of each job whenever something of it changed."""
    sent: dict[str, str] = {}
    last = time.monotonic()
    yield "retry: 1000\n\n"
    while not await request.is_disconnected():
        for job, text in (await run_in_threadpool(_state, desk)).items():
            key = json.dumps(_without_clock(json.loads(text)))
            if sent.get(job) != key:
                sent[job] = key
                last = time.monotonic()
                yield f"data: {text}\n\n"
        if time.monotonic() - last > SILENCE_S:
            last = time.monotonic()
            yield ": here\n\n"
        await asyncio.sleep(LOOK_S)


def _state(desk: Desk) -> dict[str, str]:
    runs = {job: seen_run(desk.store, desk.store.last_run(job)) for job in desk.places.jobs()}
    return {job: json.dumps(run) for job, run in runs.items() if run}


def _without_clock(run: dict[str, Any]) -> dict[str, Any]:
    """A run without what changes by itself; its share in whole per cent."""
    share = run["share"]
    return {**run, "now": 0, "left_s": 0, "share": None if share is None else round(share, 2)}
