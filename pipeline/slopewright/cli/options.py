"""Options that commands share, each defined once."""

from __future__ import annotations

from pathlib import Path

import click

out = click.option(
    "--out",
    metavar="RUN",
    type=click.Path(path_type=Path),
    help="Run folder to write; by default NAME.run beside the input.",
)
system = click.option(
    "--system",
    metavar="S",
    help="Roof system: a name in configs/systems, or the path of a TOML file.  Overrides job.toml.",
)
metric = click.option("--metric", is_flag=True, help="Metric in the summary and the drawing.")
force = click.option(
    "--force",
    is_flag=True,
    help="Measure again what the run folder already holds, and replace a run of another cloud.",
)
as_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
quiet = click.option("-q", "--quiet", is_flag=True, help="No progress and no summary.")
verbose = click.option("-v", "--verbose", is_flag=True, help="Stage times; the traceback of a failure.")
