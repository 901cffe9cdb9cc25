"""How a command ends: its status, and one line or one JSON object that says why."""

from __future__ import annotations

import json
import traceback
from collections.abc import Sequence
from dataclasses import dataclass

import click

from ..errors import InputError, NotCertifiedError

OK, INTERNAL, BAD_INPUT, NOT_CERTIFIED, INTERRUPTED = 0, 1, 2, 3, 130


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """The end of a command."""

    status: int
    message: str = ""
    kind: str = ""  # class of the error
    details: str = ""  # traceback, when it was asked for
    as_json: bool = False

    def show(self) -> int:
        """Print what there is to say and return the status."""
        if self.details:
            click.echo(self.details, err=True)
        if self.message:
            click.echo(f"slopewright: {self.message}", err=True)
            if self.as_json:
                error = {"status": self.status, "kind": self.kind, "message": self.message}
                click.echo(json.dumps({"error": error}, ensure_ascii=False))
        return self.status


def of_exception(error: BaseException, arguments: Sequence[str]) -> Outcome:
    """What an exception means for the one who called."""
    verbose = _verbose(arguments)
    status, message = _meaning(error, verbose)
    return Outcome(
        status=status,
        message=message,
        kind=type(error).__name__,
        details="".join(traceback.format_exception(error)) if verbose and status == INTERNAL else "",
        as_json="--json" in arguments,
    )


def _meaning(error: BaseException, verbose: bool) -> tuple[int, str]:
    match error:
        case InputError():
            return BAD_INPUT, _one_line(error)
        case NotCertifiedError():
            return NOT_CERTIFIED, f"not certified: {_one_line(error)}"
        case click.exceptions.NoArgsIsHelpError():
            return BAD_INPUT, f"no command given\n\n{error.format_message()}"
        case click.UsageError():
            command = error.ctx.command_path.removeprefix("slopewright").strip() if error.ctx else ""
            see = f"see slopewright {command} --help" if command else "see slopewright --help"
            return BAD_INPUT, f"{_one_line(error.format_message()).rstrip('.')}; {see}"
        case click.ClickException():
            return BAD_INPUT, _one_line(error.format_message())
        case click.Abort() | KeyboardInterrupt():
            return INTERRUPTED, "interrupted, nothing was written"
        case click.exceptions.Exit():
            return error.exit_code, ""
        case SystemExit():
            return int(error.code or 0), ""
    hint = "please report it with the lines above" if verbose else "run again with -v for details"
    return INTERNAL, f"internal failure, {type(error).__name__}: {_one_line(error)}; {hint}"


def _one_line(text: object) -> str:
    return " ".join(str(text).split())


def _verbose(arguments: Sequence[str]) -> bool:
    """Whether -v was among the arguments, alone or in a bundle of short flags."""
    return any(a == "--verbose" or (a[:1] == "-" and a[:2] != "--" and "v" in a[1:]) for a in arguments)
