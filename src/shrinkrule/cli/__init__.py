"""The command line: parse, call, show. The only room that prints or exits."""

from __future__ import annotations

import gc
import os
import sys

from shrinkrule.cli.stopping import code_of, heed

try:
    from shrinkrule.cli.late import Leaving, start
    from shrinkrule.cli.main import main
except KeyboardInterrupt:
    sys.stderr.write("shrinkrule: stopped, nothing was written\n")
    sys.exit(130)

__all__ = ["main", "run"]


NARROWEST = 20
"""Columns under which a screen is not believed: nothing can be read on it."""


def fill_streams() -> None:
    """Open what the caller has closed of input, screen and errors, each onto nothing.

    Else the next file that is opened takes its number, and what is printed goes into it. Letters
    that the screen's encoding does not have are replaced, and an absurd width is passed over.
    """
    for name, flags in (("stdin", os.O_RDONLY), ("stdout", os.O_WRONLY), ("stderr", os.O_WRONLY)):
        stream = getattr(sys, name)
        if stream is None:
            mode = "r" if name == "stdin" else "w"
            setattr(sys, name, os.fdopen(os.open(os.devnull, flags), mode, encoding="utf-8"))
        elif name != "stdin" and getattr(stream, "errors", "") == "strict":
            stream.reconfigure(errors="replace")
    columns = os.environ.get("COLUMNS", "")
    if columns.isdigit() and int(columns) < NARROWEST:
        del os.environ["COLUMNS"]


def one_thread_of_algebra() -> None:
    """Keep OpenBLAS to one thread, unless the caller said otherwise; before numpy is imported.

    The products here are small: more threads only wait for each other, at a tenth to a fifth of a
    run's processor time. Loops that gain by it share the cores themselves.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def collect_seldom() -> None:
    """Look for garbage in circles every 20 000 new objects, not every 700.

    Modules and compiled loops make hundreds of thousands of objects that all stay.
    """
    gc.set_threshold(20_000, 20, 20)


def run() -> None:
    """Entry point of the ``shrinkrule`` command."""
    fill_streams()
    one_thread_of_algebra()
    collect_seldom()
    leaving = Leaving(1)
    start()
    heed()
    leaving.code = code_of(main(sys.argv[1:]))
    sys.exit(leaving.code)
