"""Compiled loops, where steps over whole arrays would sort or copy too much.

They are compiled once and kept on disk. That takes seconds, and a second process takes some of it
over (`compile_elsewhere`) while this one reads the part and compiles the rest.
"""

from __future__ import annotations

import atexit
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final, TypeVar

from numba import njit

Function = TypeVar("Function", bound=Callable[..., Any])

_SETTINGS: Final[dict[str, Any]] = {
    "nogil": True,
    "error_model": "numpy",
    # Entries for C programs: nobody calls a loop from one.
    "no_cfunc_wrapper": True,
}


def compiled(function: Function) -> Function:
    """Compile a loop over plain numbers, kept on disk and free of the interpreter lock.

    It is kept beside the source, or in the user's folder of caches where nothing can be written
    there (an installation for all users). With neither, every run compiles anew.

    Parameters
    ----------
    function : callable
        Of plain numbers and arrays.

    Returns
    -------
    callable
        The same, compiled when first called.
    """
    try:
        faster: Function = njit(cache=True, **_SETTINGS)(function)
    except RuntimeError:
        # What numba raises where it finds no folder to write to.
        faster = njit(**_SETTINGS)(function)
    return faster


def inner(function: Function) -> Function:
    """Compile a step that only compiled loops call, as part of each of them.

    It is kept on disk inside the loops that call it and nowhere else, and has no entry for
    the interpreter: these take a good part of the time that a small function takes to compile.

    Parameters
    ----------
    function : callable
        Of plain numbers and arrays, never called from Python.

    Returns
    -------
    callable
        The same, for compiled loops.
    """
    faster: Function = njit(no_cpython_wrapper=True, **_SETTINGS)(function)
    return faster


_running: Final[list[subprocess.Popen[bytes]]] = []


def is_on_disk(function: Callable[..., Any]) -> bool:
    """Whether a compiled loop is kept on disk, or nothing can be kept.

    Parameters
    ----------
    function : callable
        As from `compiled`.

    Returns
    -------
    bool
        False where compiling it now would spare the next run the time.
    """
    folder = function.stats.cache_path  # type: ignore[attr-defined]
    return folder is None or any(Path(folder).glob(f"*{function.__qualname__}-*.nbi"))


def compile_elsewhere(module: str, functions: Sequence[Callable[..., Any]]) -> None:
    """Have a second process compile some loops, if they are not on disk yet.

    Parameters
    ----------
    module : str
        Module to run, which compiles them.
    functions : sequence of callable
        What it compiles.
    """
    if _running or all(is_on_disk(function) for function in functions):
        return
    nothing = subprocess.DEVNULL
    # -P: nothing is imported from the folder that the user works in.
    command = [sys.executable, "-P", "-m", module]
    _running.append(subprocess.Popen(command, stdin=nothing, stdout=nothing, stderr=nothing))
    atexit.register(_stop)


def _stop() -> None:
    """End a process whose work nobody waits for any more."""
    for process in _running:
        if process.poll() is None:
            process.kill()
            process.wait()


def wait_for_compiled() -> None:
    """Wait for the second process, if there is one. Whatever it did not compile is done here."""
    for process in _running:
        process.wait()
