"""slopewright demo"""

from __future__ import annotations

from pathlib import Path

import click

from . import options
from .outcome import Outcome

SAMPLE = "sample_inputs/house"
DEFAULT_RUN = "slopewright-demo.run"


@click.command()
@click.option(
    "--out",
    metavar="RUN",
    type=click.Path(path_type=Path),
    default=Path(DEFAULT_RUN),
    show_default=True,
    help="Run folder to write.",
)
@options.force
@options.metric
@options.as_json
@options.quiet
@options.verbose
def demo(out: Path, force: bool, metric: bool, as_json: bool, quiet: bool, verbose: bool) -> Outcome:
    """Measure the sample house that comes with the program.  It is invented; nothing is opened.

    \b
    Example:
      slopewright demo --out /tmp/demo.run
    """
    from ..intent import Options
    from ..resources import shipped
    from ..run import measure
    from .show import progress_bars, show_result

    with progress_bars(quiet=quiet or as_json) as progress:
        result = measure(shipped(SAMPLE), out, Options(metric=metric, force=force), progress)
    return show_result(result, metric=metric, as_json=as_json, quiet=quiet, verbose=verbose)
