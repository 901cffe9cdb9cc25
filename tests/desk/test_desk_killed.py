"""What was acknowledged outlives the server and any worker.  Oracles: the bytes sent; whole run folders."""

import contextlib
import json
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time

import httpx
import pytest

from desk.served import SAMPLE

pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs SIGKILL")
CLOUD = (SAMPLE / "cloud.laz").read_bytes()


@contextlib.contextmanager
def desk_process(root):
    """`slopewright desk` as a person starts it; killed, not asked, at the end."""
    command = [sys.executable, "-m", "slopewright", "desk", "--jobs", str(root), "--no-browser"]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, env=dict(os.environ, PYTHONUNBUFFERED="1")
    )
    try:
        address, token = re.match(r"Workbench: (\S+)/\?token=(\S+)", process.stdout.readline()).groups()
        port = address.rsplit(":", 1)[1]
        with httpx.Client(
            base_url=address,
            headers={"origin": address},
            cookies={f"slopewright_{port}": token},
            timeout=30,
            trust_env=False,
        ) as client:
            yield client, process
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def until(condition, seconds=60):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := condition():
            return found
        time.sleep(0.1)
    raise AssertionError("nothing came of it")


def worker_of(root):
    with contextlib.closing(sqlite3.connect(root / ".desk" / "desk.sqlite")) as db:
        return db.execute("SELECT pid FROM runs ORDER BY number DESC").fetchone()[0]


def run_of(client, job="house"):
    return client.get(f"/api/jobs/{job}").json()["run"]


def test_kill_9_of_the_server_loses_no_byte_and_no_run(tmp_path):
    """The server dies in the middle of an upload and of a measuring; the next one goes on with both."""
    root = tmp_path / "jobs"
    for name in ("house", "next"):
        shutil.copytree(SAMPLE, root / name)
    third = len(CLOUD) // 3
    with desk_process(root) as (client, process):
        job = client.post("/api/jobs", json={"name": "Half sent"}).json()["id"]
        place = f"/api/jobs/{job}/files/c.laz?size={len(CLOUD)}"
        acknowledged = client.put(f"{place}&offset=0", content=CLOUD[:third]).json()["received"]
        assert client.post("/api/jobs/house/runs", json={}).status_code == 202
        client.post("/api/jobs/next/runs", json={})  # waits its turn
        until(lambda: run_of(client)["log"])
        process.send_signal(signal.SIGKILL)
        process.wait()
    with desk_process(root) as (client, _):
        received = client.get(f"/api/jobs/{job}/uploads/c.laz?size={len(CLOUD)}").json()["received"]
        assert received == acknowledged == third
        client.put(f"{place}&offset={third}", content=CLOUD[third:])
        assert (root / job / "c.laz").read_bytes() == CLOUD
        ended = until(lambda: (run := run_of(client))["ended"] and run)
        assert ended["state"] == "done", ended
        assert json.loads((root / "house.run" / "run.json").read_text())["not_certified"] == []
        ended = until(lambda: (run := run_of(client, "next"))["ended"] and run)
        assert ended["state"] == "done", ended


def test_kill_9_of_a_worker_harms_its_job_alone_and_leaves_the_old_run(tmp_path):
    root = tmp_path / "jobs"
    shutil.copytree(SAMPLE, root / "house")
    shutil.copytree(SAMPLE, root / "other")
    (root / "house.run").mkdir()
    (root / "house.run" / "mine.txt").write_text("kept")
    with desk_process(root) as (client, _):
        client.post("/api/jobs/house/runs", json={})
        until(lambda: (run := run_of(client)) and run["state"] != "queued")
        ended = until(lambda: (run := run_of(client))["ended"] and run)
        assert ended["state"] == "refused" and "not a run folder" in ended["message"]
        assert "--out" not in ended["message"] and (root / "house.run" / "mine.txt").read_text() == "kept"
        shutil.rmtree(root / "house.run")

        client.post("/api/jobs/house/runs", json={})
        until(lambda: len(run_of(client)["log"]) > 1)
        os.kill(worker_of(root), signal.SIGKILL)
        ended = until(lambda: (run := run_of(client))["ended"] and run)
        assert ended["state"] == "failed" and "without a word" in ended["message"]
        assert not [path.name for path in root.iterdir() if path.name.startswith(".house.run")]
        assert client.get("/api/jobs/other").json()["problem"] == ""


def test_a_run_that_is_stopped_leaves_nothing_behind(tmp_path):
    root = tmp_path / "jobs"
    shutil.copytree(SAMPLE, root / "house")
    with desk_process(root) as (client, _):
        number = client.post("/api/jobs/house/runs", json={}).json()["number"]
        until(lambda: run_of(client)["log"])
        assert client.delete(f"/api/jobs/house/runs/{number}").status_code == 200
        assert run_of(client)["state"] == "cancelled"
        until(lambda: sorted(path.name for path in root.iterdir()) == [".desk", "house"])
        assert client.post("/api/jobs/house/runs", json={}).status_code == 202
        assert run_of(client)["state"] in ("queued", "running")
        client.delete(f"/api/jobs/house/runs/{number + 1}")
        until(lambda: not list((root / ".desk" / "locks").glob(f"{number}.sqlite-journal")))
