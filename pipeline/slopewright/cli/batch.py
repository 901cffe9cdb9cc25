"""slopewright batch"""

from __future__ import annotations

from pathlib import Path

import click

from . import options
from .outcome import Outcome


@click.command()
@click.argument("manifest", metavar="MANIFEST", type=click.Path(path_type=Path), required=False)
@click.option(
    "--out",
    metavar="DIR",
    required=True,
    type=click.Path(path_type=Path),
    help="Folder of the batch: results, and a run folder a roof.  Given again, it goes on from there.",
)
@click.option(
    "--tiles",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder of lidar tiles (LAS, LAZ, COPC), in place of MANIFEST.",
)
@click.option(
    "--roofs",
    metavar="F",
    type=click.Path(path_type=Path),
    help="With --tiles: footprints or points of the roofs, as GeoJSON, GeoPackage or GeoParquet.",
)
@click.option("--unit", metavar="m|ft|us-ft", help="Unit of the tiles, if they do not say.")
@click.option(
    "--files",
    type=click.Choice(["all", "roof"]),
    default="all",
    show_default=True,
    help="What each run holds: all, or only the roof and its quantities, several times faster.",
)
@click.option(
    "--gates", metavar="G.toml", type=click.Path(path_type=Path), help="Rules for what may pass unseen."
)
@click.option(
    "--workers", metavar="N", type=click.IntRange(1, 1024), help="Jobs at a time; by default one a core."
)
@click.option(
    "--scheduler",
    metavar="tcp://HOST:PORT",
    help="A running Dask cluster with this version installed, which sees the same files.",
)
@click.option(
    "--time-limit",
    metavar="S",
    type=click.FloatRange(1),
    default=600,
    show_default=True,
    help="Seconds a job.",
)
@click.option(
    "--memory-limit",
    metavar="GB",
    type=click.FloatRange(0.25),
    default=4,
    show_default=True,
    help="Memory a job.",
)
@click.option("--force", is_flag=True, help="Measure again what is finished.")
@options.metric
@options.as_json
@options.quiet
def batch(
    manifest: Path | None,
    out: Path,
    tiles: Path | None,
    roofs: Path | None,
    unit: str | None,
    files: str,
    gates: Path | None,
    workers: int | None,
    scheduler: str | None,
    time_limit: float,
    memory_limit: float,
    force: bool,
    metric: bool,
    as_json: bool,
    quiet: bool,
) -> Outcome:
    """Measure every roof of MANIFEST, each in a process of its own, and say which need a look.

    MANIFEST is a CSV table with the columns id and input (a cloud or a job folder) and, if wanted, unit,
    system, at_x, at_y and footprint; or a folder of job folders and clouds.  With --tiles and --roofs, every
    roof of a map is cut out of the tiles that it lies on.  A roof that fails is a line of
    the results.  Stopped at any moment, the same command goes on; what is finished is not done again.

    \b
    Examples:
      slopewright batch captures.csv --out storm
      slopewright batch jobs/ --out storm --workers 8 --files roof
      slopewright batch --tiles lidar/ --roofs footprints.gpkg --out town --files roof
    """
    from .batch_show import run_and_show

    return run_and_show(
        manifest,
        out,
        tiles=tiles,
        roofs=roofs,
        unit=unit,
        files=files,
        gates=gates,
        workers=workers,
        scheduler=scheduler,
        time_limit_s=time_limit,
        memory_limit_gb=memory_limit,
        force=force,
        metric=metric,
        as_json=as_json,
        quiet=quiet,
    )
