"""slopewright compare"""

from __future__ import annotations

from pathlib import Path

import click

from . import options
from .outcome import Outcome


@click.command()
@click.argument("folder", metavar="RUN", type=click.Path(path_type=Path))
@click.argument("table", metavar="OTHER.csv", type=click.Path(path_type=Path))
@click.option(
    "--map",
    "names",
    metavar="MAP.toml",
    type=click.Path(path_type=Path),
    help="What their items are called by us.",
)
@options.metric
@options.as_json
@options.quiet
def compare(
    folder: Path, table: Path, names: Path | None, metric: bool, as_json: bool, quiet: bool
) -> Outcome:
    """Hold another party's quantities against those of the run folder RUN.

    OTHER.csv has a heading and a line for each quantity: item, quantity, unit, and note if wanted.  Items are
    lines of takeoff.csv, or "roof area", "plan area", eave, rake, ridge, hip, valley and the other kinds of
    edge.  Other wording needs MAP.toml: a table [items] with "their wording" = "our name", or = "ignore".
    Each line is within our bounds or not; mistakes that would explain the differences come with their odds.

    \b
    Example of OTHER.csv:
      item,quantity,unit
      field shingles,24.33,sq
      Ridge,44.5,lf

    \b
    Example:
      slopewright compare house.run theirs.csv --map words.toml
    """
    from ..run import compare as run_compare
    from .show import show_comparison

    result = run_compare(folder, table, names)
    return show_comparison(result, metric=metric, as_json=as_json, quiet=quiet)
