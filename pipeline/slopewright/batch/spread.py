"""Jobs over threads of this machine, or over the workers of a cluster: Dask does both."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from itertools import islice
from typing import Any

from ..errors import InputError
from .entry import Entry
from .isolated import Answer, Terms, cut_isolated, end_batch, run_isolated, source_of_worker
from .row import Row, Status

AHEAD = 3  # jobs handed out per worker thread: none waits for work, and an interrupt loses no time
CONNECT_S = 10  # a scheduler that does not answer by then is not there


@contextmanager
def workers(n_workers: int, scheduler: str | None, token: str) -> Iterator[Any]:
    """A Dask client: of threads in this process that no port is opened for, or of a running cluster.

    Jobs with this token are ended with it.

    Raises
    ------
    InputError
        If the scheduler cannot be reached, has no workers, or these have another version of the program.
    """
    distributed = import_module("distributed")
    if scheduler is None:
        cluster = distributed.LocalCluster(
            n_workers=1,
            threads_per_worker=n_workers,
            processes=False,
            protocol="inproc://",
            dashboard_address=None,
            memory_limit=0,  # jobs have limits of their own
            silence_logs=50,
        )
        client = distributed.Client(cluster)
    else:
        cluster, client = None, _connected(distributed, scheduler)
    try:
        yield client
    finally:
        if scheduler is None:
            end_batch(token)
        else:
            with suppress(Exception):  # a cluster that is gone has closed them
                client.run(end_batch, token)
        with suppress(Exception):
            client.close(timeout=2)
        if cluster is not None:
            cluster.close()


def _connected(distributed: Any, scheduler: str) -> Any:
    try:
        client = distributed.Client(scheduler, timeout=CONNECT_S)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(f"--scheduler {scheduler}: no Dask scheduler answers there ({error})") from error
    try:
        sources = client.run(source_of_worker)
    except Exception as error:
        client.close(timeout=2)
        raise InputError(
            f"--scheduler {scheduler}: its workers cannot run slopewright ({error}), install it there"
        ) from error
    fault = "" if sources else "it has no workers, start some"
    if set(sources.values()) - {source_of_worker()}:
        fault = "its workers have another version of slopewright, install this one there"
    if fault:
        client.close(timeout=2)
        raise InputError(f"--scheduler {scheduler}: {fault}")
    return client


def cut_all(client: Any, tasks: Sequence[dict[str, Any]], terms: Terms) -> dict[str, str]:
    """Cut tiles, each once; returns those that failed, and why."""
    reasons = client.gather(client.map(cut_isolated, tasks, terms=terms, pure=False))
    return {task["tile"]: why for task, why in zip(tasks, reasons, strict=True) if why}


def answers(client: Any, entries: Iterable[Entry], terms: Terms) -> Iterator[Answer]:
    """The answers to all jobs, as they come.

    A worker that dies costs nothing but time: its jobs go to another.
    """
    as_completed = import_module("distributed").as_completed
    threads = sum(client.nthreads().values())
    waiting = iter(entries)
    asked: dict[str, str] = {}  # key of a task: id of its entry

    def hand_out(count: int) -> list[Any]:
        futures = []
        for entry in islice(waiting, count):
            future = client.submit(run_isolated, entry.as_json(), terms, pure=False)
            asked[future.key] = entry.id
            futures.append(future)
        return futures

    running = as_completed(hand_out(max(threads, 1) * AHEAD), with_results=False)
    for future in running:
        identity = asked.pop(future.key)
        if future.status == "finished":
            yield future.result()
        elif future.status != "error":
            raise InputError(
                "the scheduler is gone: start it and give the same command again, to go on from here"
            )
        else:
            reason = f"lost with the workers it was given to ({future.exception()})"
            yield Answer(row=Row(id=identity, status=Status.CRASHED, reason=reason), held=False)
        future.release()
        for more in hand_out(1):
            running.add(more)
