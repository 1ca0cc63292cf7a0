"""Where a command begins and ends: the one place that catches errors and sets exit codes.

Exit codes: 0 done, 1 a finding the user asked to fail on, 2 bad input.
"""

from __future__ import annotations

import contextlib
import os
import shlex
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Final

import typer

from shrinkrule.cells import printable
from shrinkrule.cli import (
    calibrate,
    compensate,
    coupon,
    dimensions,
    history,
    review,
    settings,
    table,
    traveler,
    walls,
    ways_up,
)
from shrinkrule.cli.options import FLAGS
from shrinkrule.errors import Option, ShrinkruleError
from shrinkrule.files.output import written_so_far
from shrinkrule.version import VERSION

DONE: Final = 0
BAD_INPUT: Final = 2
INTERRUPTED: Final = 130
NOT_READ: Final = 1
"""As the command line's library ends where nobody reads what is printed."""

app = typer.Typer(
    name="shrinkrule",
    help="From the wanted metal part to the green part to print, and back to what comes out "
    "of the furnace.",
    epilog="Example: shrinkrule compensate part.stl --table table.csv --row 'bronze 3'",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
)
compensate.register(app)
walls.register(app)
ways_up.register(app)
dimensions.register(app)
coupon.register(app)
calibrate.register(app)
table.register(app)
traveler.register(app)
review.register(app)
history.register(app)
settings.register(app)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"shrinkrule {VERSION}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool,
        typer.Option("--version", help="Show the version.", callback=_version, is_eager=True),
    ] = False,
) -> None:
    """Take the options that stand before a command."""


def main(argv: Sequence[str]) -> int:
    """Run one command and return its exit code; nothing but text on the screen escapes."""
    before = len(written_so_far())
    try:
        app(args=list(argv), prog_name="shrinkrule", obj=shlex.join(["shrinkrule", *argv]))
    except SystemExit as stop:
        if stop.code == INTERRUPTED:
            _say(f"shrinkrule: {_left(before)}\n")
        code = stop.code if isinstance(stop.code, int) else DONE
        return code or _shown(before)
    except ShrinkruleError as error:
        _say(f"shrinkrule: {printable(refusal_text(error, argv))}\n")
        return BAD_INPUT
    except OSError as error:
        _say(f"shrinkrule: {_unforeseen(error)}; {_left(before)}\n")
        return BAD_INPUT
    except MemoryError:
        _say("shrinkrule: there is not enough memory; export the model coarser.\n")
        return BAD_INPUT
    except RuntimeError as error:
        # What Python says where the system refuses another thread; anything else is ours.
        if "start new thread" not in str(error):
            raise
        _say(f"shrinkrule: the system gives no more threads or memory; {_left(before)}\n")
        return BAD_INPUT
    except KeyboardInterrupt:
        _say(f"shrinkrule: {_left(before)}\n")
        return INTERRUPTED
    return _shown(before)


def _shown(before: int) -> int:
    """Exit code once the screen has all of it: a full disk behind it shows only now."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _close_screen()
        return NOT_READ
    except OSError as error:
        _close_screen()
        _say(f"shrinkrule: {_unforeseen(error)}; {_left(before)}\n")
        return BAD_INPUT
    return DONE


def _close_screen() -> None:
    """Let what is left of the screen's text go nowhere, so that nothing fails on it at the end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    with contextlib.suppress(OSError, ValueError):
        os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def _say(text: str) -> None:
    """Write to standard error, which may be full or gone as well."""
    with contextlib.suppress(OSError):
        sys.stderr.write(text)


def _unforeseen(error: OSError) -> str:
    """A fault of the system in words: with its file, or of the current folder, or of the screen."""
    if error.filename is None:
        try:
            Path.cwd()
        except OSError:
            return "the folder that this runs in is gone: go to another one and try again"
        return f"the text for the screen cannot be written ({error.strerror or error})"
    name = printable(str(error.filename))
    return f"{name}: cannot be read or written ({error.strerror or error})"


def _left(before: int) -> str:
    """What a stopped command has left, in words."""
    names = ", ".join(printable(str(path)) for path in written_so_far()[before:])
    return f"stopped; written and whole: {names}" if names else "stopped, nothing was written"


def refusal_text(error: ShrinkruleError, argv: Sequence[str] = ()) -> str:
    """One line for a refusal, with the flags behind its hint, and the command that has them."""
    if not error.options:
        return str(error)
    flags = ", ".join(_flag(option, argv) for option in error.options)
    return f"{str(error).removesuffix('.')} ({flags})."


def _flag(option: Option, argv: Sequence[str]) -> str:
    """How an option is given: of ``compensate``, where the command that was run has none of it."""
    flag = FLAGS[option]
    commands = getattr(typer.main.get_command(app), "commands", {})
    ran = next((commands[word] for word in argv if word in commands), None)
    if ran is None or not flag.startswith("--"):
        return flag
    first = flag.replace(",", " ").replace(";", " ").split()[0]
    known = {name for parameter in ran.params for name in parameter.opts}
    return flag if first in known else f"compensate {flag}"
