"""slopewright desk: the server of the workbench, on this machine and for this machine alone."""

from __future__ import annotations

import asyncio
import logging
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path

from ..errors import InputError

HOST = "127.0.0.1"
USUAL_PORT = 8417  # any that is free: with the same one a page that is open outlives a restart
ENDING_S = 1  # that open event streams get when the server is stopped


def serve(
    jobs: Path, *, port: int | None = None, browser: bool = True, say: Callable[[str], None] = print
) -> None:
    """Serve the workbench until it is interrupted.

    Parameters
    ----------
    jobs : Path
        The jobs folder; made if missing.
    port : int, optional
        By default the usual one, or any free one where that is taken.
    browser : bool
        Whether the page is opened.
    say : callable
        Is told the address.

    Raises
    ------
    InputError
        If the folder cannot be used or the port is taken.
    """
    import uvicorn

    from .app import make_app
    from .desk import Desk
    from .guard import make_token

    desk = Desk(jobs)
    desk.prepare()
    listening = listen(port)
    number = listening.getsockname()[1]
    token = make_token(desk.places.desk)
    address = f"http://{HOST}:{number}/?token={token}"
    say(f"Workbench: {address}\nJobs: {desk.places.root}\nCtrl-C ends it; a measuring under way goes on.")
    if browser:
        webbrowser.open(address)
    logging.getLogger("uvicorn.error").addFilter(_is_a_fault)
    config = uvicorn.Config(
        make_app(desk, token=token, port=number),
        log_level="warning",
        access_log=False,
        timeout_graceful_shutdown=ENDING_S,
        server_header=False,
        ws="none",
        proxy_headers=False,
    )
    uvicorn.Server(config).run(sockets=[listening])


def listen(port: int | None) -> socket.socket:
    """A socket of this machine alone; 0 takes any port that is free.

    Raises
    ------
    InputError
        If the port is taken.
    """
    wanted = (USUAL_PORT, 0) if port is None else (port,)
    for number in wanted:
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((HOST, number))
            listening.listen()
        except OSError as error:
            listening.close()
            if number == wanted[-1]:
                raise InputError(
                    f"--port {number}: cannot be used ({error.strerror}), choose another"
                ) from error
            continue
        return listening
    raise AssertionError("no port was tried")


def _is_a_fault(record: logging.LogRecord) -> bool:
    """Whether a message tells of more than a request that the end of the server cut short."""
    error = record.exc_info[1] if record.exc_info else None
    return not isinstance(error, asyncio.CancelledError) and "graceful shutdown" not in record.getMessage()
