"""The command line: parse, call, show. The only room that prints or exits."""

from __future__ import annotations

import sys

try:
    from shrinkrule.cli.late import Leaving, start
    from shrinkrule.cli.main import main
except KeyboardInterrupt:
    sys.stderr.write("shrinkrule: stopped, nothing was written\n")
    sys.exit(130)

__all__ = ["main", "run"]


def run() -> None:
    """Entry point of the ``shrinkrule`` command."""
    leaving = Leaving(1)
    start()
    leaving.code = main(sys.argv[1:])
    sys.exit(leaving.code)
