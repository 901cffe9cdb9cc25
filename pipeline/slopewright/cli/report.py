"""slopewright report"""

from __future__ import annotations

from pathlib import Path

import click

from . import options
from .outcome import Outcome


@click.command()
@click.argument("folder", metavar="RUN", type=click.Path(path_type=Path))
@click.option(
    "--metric/--imperial",
    default=None,
    help="Units of the summary, the drawing and the report; by default the run's.",
)
@options.as_json
@options.quiet
@options.verbose
def report(folder: Path, metric: bool | None, as_json: bool, quiet: bool, verbose: bool) -> Outcome:
    """Write every drawing, table and exchange file of the run folder RUN again.

    They follow from its roof.json and takeoff.json, as they are.

    \b
    Example:
      slopewright report house.run --metric
    """
    from ..run import redraw
    from .show import progress_bars, show_result

    with progress_bars(quiet=quiet or as_json) as progress:
        result = redraw(folder, metric=metric, progress=progress)
    return show_result(
        result, metric=result.record.options["metric"], as_json=as_json, quiet=quiet, verbose=verbose
    )
