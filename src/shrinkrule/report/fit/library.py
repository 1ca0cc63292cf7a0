"""The plotting library as its package ships it, whatever settings lie in the folder or the user's.

It takes a file ``matplotlibrc`` out of the current folder when it is imported, which may ask for
programs to be run, and was never meant for these plots: it is imported from a folder of ours that
holds neither settings nor modules, and each plot is drawn with the settings that it ships.
"""

from __future__ import annotations

import contextlib
import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

DATA: Final = Path(__file__).parents[2] / "data"
"""Our tables: where the current folder is looked through for modules, none must lie in it."""


@contextmanager
def _in_a_plain_folder() -> Iterator[None]:
    before = ""
    with contextlib.suppress(OSError):
        before = str(Path.cwd())
    log = logging.getLogger("matplotlib")
    level = log.level
    # Where it keeps its list of fonts is nothing that a maker could act on.
    log.setLevel(logging.ERROR)
    os.chdir(DATA)
    try:
        yield
    finally:
        log.setLevel(level)
        # A folder that was deleted meanwhile cannot be gone back to.
        with contextlib.suppress(OSError):
            os.chdir(before)


with _in_a_plain_folder():
    import matplotlib as mpl
    from matplotlib.figure import Figure
    from matplotlib.ticker import NullLocator


@contextmanager
def shipped_settings() -> Iterator[None]:
    """Draw with the settings that the library ships, and those of these plots."""
    with mpl.rc_context(mpl.rcParamsDefault):
        # A fixed salt: the same fit gives the same file.
        mpl.rcParams.update({"svg.hashsalt": "shrinkrule", "font.size": 10})
        yield


__all__ = ["Figure", "NullLocator", "shipped_settings"]
