"""slopewright takeoff"""

from __future__ import annotations

from pathlib import Path

import click

from . import options
from .outcome import Outcome


@click.command()
@click.argument("folder", metavar="RUN", type=click.Path(path_type=Path))
@options.system
@options.metric
@options.as_json
@options.quiet
@options.verbose
def takeoff(
    folder: Path, system: str | None, metric: bool, as_json: bool, quiet: bool, verbose: bool
) -> Outcome:
    """Take off the quantities of the run folder RUN again, without measuring again.

    Site, scope and counts are those the run was made with; the files of RUN are replaced together.

    \b
    Example:
      slopewright takeoff house.run --system my-shingle.toml
    """
    from ..run import take_off
    from .show import progress_bars, show_result

    with progress_bars(quiet=quiet or as_json) as progress:
        result = take_off(folder, system, metric=metric or None, progress=progress)
    return show_result(result, metric=metric, as_json=as_json, quiet=quiet, verbose=verbose)
