"""slopewright desk"""

from __future__ import annotations

from pathlib import Path

import click

from .outcome import Outcome

DEFAULT_JOBS = "slopewright-jobs"


@click.command()
@click.option(
    "--jobs",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help=f"Folder of jobs, made if missing; by default {DEFAULT_JOBS} in your home folder.",
)
@click.option(
    "--port",
    metavar="N",
    type=click.IntRange(1, 65535),
    help="Port of this machine to listen on; by default a usual one, or any that is free.",
)
@click.option("--no-browser", is_flag=True, help="Print the address and open nothing.")
def desk(jobs: Path | None, port: int | None, no_browser: bool) -> Outcome:
    """Open the workbench: bring, mark, measure, correct, take off and print, in a browser on this machine.

    Nothing leaves the machine.  The address that is printed holds the key to the page: keep it to yourself.

    \b
    Example:
      slopewright desk --jobs claims
    """
    from ..desk import serve

    folder = jobs or Path.home() / DEFAULT_JOBS
    serve(folder, port=port, browser=not no_browser, say=click.echo)
    return Outcome(status=0)
