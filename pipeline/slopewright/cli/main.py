"""The group of commands and the exit status: 0 ok, 1 internal failure, 2 bad input, 3 not certified."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import click

from .. import __version__
from .batch import batch
from .board import board
from .compare import compare
from .demo import demo
from .desk import desk
from .measure import measure
from .outcome import Outcome, of_exception
from .photo import photo
from .report import report
from .takeoff import takeoff
from .tape import tape


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit status: 0 ok, 1 internal failure, 2 bad input, 3 measured but not certified.",
)
@click.version_option(__version__, message="%(prog)s %(version)s")
def commands() -> None:
    """Measure roofs from photos or point clouds: planes, pitch, edges and quantities, with 95 % bounds.

    \b
    Example:
      slopewright measure house.laz --unit m
    """


commands.add_command(measure)
commands.add_command(takeoff)
commands.add_command(batch)
commands.add_command(report)
commands.add_command(tape)
commands.add_command(compare)
commands.add_command(demo)
commands.add_command(board)
commands.add_command(photo)
commands.add_command(desk)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command line.

    Parameters
    ----------
    arguments : sequence of str, optional
        Without the program's name; by default those of the process.

    Returns
    -------
    int
        The exit status.
    """
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        outcome = commands.main(given, prog_name="slopewright", standalone_mode=False)
        status = outcome.status if isinstance(outcome, Outcome) else int(outcome or 0)
        sys.stdout.flush()
        return status
    except BrokenPipeError:  # the reader of our output has gone; nothing is left to say
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except BaseException as error:
        return of_exception(error, given).show()
