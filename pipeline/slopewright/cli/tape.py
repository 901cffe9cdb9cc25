"""slopewright tape"""

from __future__ import annotations

from pathlib import Path

import click

from . import options
from .outcome import Outcome


@click.command()
@click.argument("folder", metavar="RUN", type=click.Path(path_type=Path))
@click.argument("table", metavar="TAPE.csv", type=click.Path(path_type=Path))
@click.option("--adjust", is_flag=True, help="Improve the roof with the readings that agree with it.")
@options.metric
@options.as_json
@options.quiet
def tape(folder: Path, table: Path, adjust: bool, metric: bool, as_json: bool, quiet: bool) -> Outcome:
    """Hold tape measurements against the roof in the run folder RUN: agree, conflict, or cannot tell.

    TAPE.csv has a heading and a line for each length: edge (an id of the plan, or several joined by +), or
    from and to (a corner such as e1/e4, or x y z in metres of the roof's grid); length and unit (m, cm, mm,
    ft-in, decimal-ft, in, us-ft); and if wanted how (steel tape, tape, laser, wheel, from the ground), u
    (standard uncertainty in that unit) and note.  What may explain a conflict is named with its odds.

    Tape from a ladder only if it stands safely, and never near power lines; many lengths can be taped from
    the ground.

    \b
    Example of TAPE.csv:
      edge,length,unit,how
      e3,12' 6 1/2",ft-in,steel tape
      e1+e2,14.36,m,laser

    \b
    Example:
      slopewright tape house.run tape.csv --adjust
    """
    from ..run import tape as run_tape
    from .show import show_tape

    result = run_tape(folder, table, adjusting=adjust)
    return show_tape(result, metric=metric, adjusted=adjust, as_json=as_json, quiet=quiet)
