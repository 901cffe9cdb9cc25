"""A desk that listens on a port of this machine, spoken to as its own page would."""

import contextlib
import threading
import time
from pathlib import Path

import httpx
import uvicorn

from slopewright.desk.app import make_app
from slopewright.desk.desk import Desk
from slopewright.desk.serve import listen

SAMPLE = Path(__file__).parents[2] / "sample_inputs" / "house"
TOKEN = "t" * 40


class Page:
    """The page's side of the conversation."""

    def __init__(self, client, desk, port):
        self.client, self.desk, self.places, self.port = client, desk, desk.places, port

    def new_job(self, name="Elm Street 12"):
        answer = self.client.post("/api/jobs", json={"name": name})
        assert answer.status_code == 201, answer.text
        return answer.json()["id"]

    def put(self, job, name, content, **query):
        query = {"size": len(content), **query}
        return self.client.put(f"/api/jobs/{job}/files/{name}", params=query, content=content)

    def wait(self, job, *, states=("done",), seconds=60):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            run = self.client.get(f"/api/jobs/{job}").json()["run"]
            if run and run["state"] not in ("queued", "running"):
                assert run["state"] in states, run
                return run
            time.sleep(0.1)
        raise AssertionError(f"still {run}")


@contextlib.contextmanager
def serving(root):
    """A desk that serves a jobs folder, in a thread."""
    desk = Desk(root)
    desk.prepare()
    listening = listen(0)
    port = listening.getsockname()[1]
    app = make_app(desk, token=TOKEN, port=port)
    config = uvicorn.Config(app, log_level="error", timeout_graceful_shutdown=1, ws="none")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    address = f"http://127.0.0.1:{port}"
    cookies = {f"slopewright_{port}": TOKEN}
    try:
        while not server.started:
            time.sleep(0.02)
        with httpx.Client(
            base_url=address, headers={"origin": address}, cookies=cookies, timeout=60, trust_env=False
        ) as client:
            yield Page(client, desk, port)
    finally:
        server.should_exit = True
        thread.join()
        listening.close()
