"""How far a run is, from the seconds that its stages took in earlier runs."""

from __future__ import annotations

import statistics
import time
from typing import Any

from . import store as states
from .store import Store

MOST_IN_STAGE = 0.95  # of an expected stage that counts as done before it is


def seen_run(store: Store, run: dict[str, Any] | None) -> dict[str, Any] | None:
    """A run as the page shows it.

    Returns
    -------
    dict or None
        With `share`, 0 to 1, and `left_s`; both None where no earlier run tells how long stages take.
    """
    if run is None:
        return None
    share, left_s = _expected(store, run) if run["state"] == states.RUNNING else (None, None)
    shown = ("number", "job", "state", "stages", "log", "message", "queued", "started", "ended", "options")
    return {key: run[key] for key in shown} | {"share": share, "left_s": left_s, "now": time.time()}


def _expected(store: Store, run: dict[str, Any]) -> tuple[float | None, float | None]:
    paces = store.paces()
    stages = run["stages"]
    if not stages or not run["n_bytes"] or any(stage not in paces for stage in stages):
        return None, None
    expected = {stage: statistics.median(paces[stage]) * run["n_bytes"] / 1e6 for stage in stages}
    total = sum(expected.values())
    done = 0.0
    for stage in run["log"]:
        if stage["name"] in expected:
            usual = expected[stage["name"]]
            spent = time.time() - stage["began"]
            done += usual if stage["ended"] is not None else min(spent, MOST_IN_STAGE * usual)
    return (done / total, total - done) if total > 0 else (None, None)
