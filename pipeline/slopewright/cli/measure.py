"""slopewright measure"""

from __future__ import annotations

from pathlib import Path

import click

from . import options
from .outcome import Outcome


@click.command()
@click.argument("input_path", metavar="INPUT", type=click.Path(path_type=Path))
@options.out
@click.option(
    "--unit",
    metavar="m|ft|us-ft",
    help="Unit of the cloud, if the file does not say: metre, international foot, US survey foot.",
)
@click.option(
    "--at",
    nargs=2,
    type=float,
    metavar="X Y",
    help="Measure the roof at this point, in the file's own coordinates and unit.",
)
@click.option(
    "--footprint",
    metavar="F.geojson",
    type=click.Path(path_type=Path),
    help="Measure the roof on this polygon, in the file's own coordinates and unit (not degrees).",
)
@options.system
@options.force
@options.metric
@options.as_json
@options.quiet
@options.verbose
def measure(
    input_path: Path,
    out: Path | None,
    unit: str | None,
    at: tuple[float, float] | None,
    footprint: Path | None,
    system: str | None,
    force: bool,
    metric: bool,
    as_json: bool,
    quiet: bool,
    verbose: bool,
) -> Outcome:
    """Measure the roof in INPUT (a cloud file, photos or a job folder) and take off its quantities.

    INPUT is a LAS, LAZ, COPC, PLY, PCD, E57, XYZ or CSV file, or a folder that holds one beside a job.toml.
    Of several roofs the one at --at or on --footprint is measured, else the largest near the middle.
    What the run folder already holds is not done again.

    \b
    Examples:
      slopewright measure house.laz
      slopewright measure tile.laz --at 512034.5 5403211.0 --out elm-street.run
      slopewright measure scan.ply --unit ft --json
    """
    from ..intent import Options
    from ..run import measure as run_measure
    from .show import progress_bars, show_result

    asked = Options(unit=unit, at=at, footprint=footprint, system=system, metric=metric, force=force)
    with progress_bars(quiet=quiet or as_json) as progress:
        result = run_measure(input_path, out, asked, progress)
    return show_result(result, metric=metric, as_json=as_json, quiet=quiet, verbose=verbose)
