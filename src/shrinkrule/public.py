"""Public names of a room that are imported when they are first used (PEP 562).

A command that reads one row of a table needs no fit, and one that scales a part no sag
solver; a room that is asked for one name loads the module of that name alone.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module


def late_names(room: str, modules: Mapping[str, str]) -> Callable[[str], object]:
    """Make the ``__getattr__`` of a room.

    Parameters
    ----------
    room : str
        The room's ``__name__``.
    modules : mapping of str to str
        Full name of the module that defines each public name.

    Returns
    -------
    callable
        Finds a public name by importing its module; any other name is an AttributeError.
    """

    def look_up(name: str) -> object:
        if name not in modules:
            raise AttributeError(f"module {room!r} has no attribute {name!r}")
        found: object = getattr(import_module(modules[name]), name)
        setattr(sys.modules[room], name, found)
        return found

    return look_up
