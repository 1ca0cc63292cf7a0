"""Compiled loops, where steps over whole arrays would sort or copy too much.

They are compiled once and kept on disk. That takes seconds, and other processes take much of it
over (`compile_elsewhere`) while this one reads the part and compiles the rest.
"""

from __future__ import annotations

import atexit
import gc
import subprocess
import sys
import time
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

_OF_STEPS: Final = dict(_SETTINGS)
"""With an entry for the interpreter, though it costs: a call without one ends the process."""

_WITHOUT_ENTRY: Final = {"no_cpython_wrapper": True}

_steps: Final[list[Any]] = []
"""What `inner` has made."""


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

    It is kept on disk inside the loops that call it and nowhere else. Called from Python, as by a
    test, it is compiled once more. A count given to it begins as ``np.int64(0)``: a plain 0 is a
    type of its own until the loop has been read to its end, and the step is compiled for that too.

    Parameters
    ----------
    function : callable
        Of plain numbers and arrays.

    Returns
    -------
    callable
        The same, for compiled loops.
    """
    faster: Any = njit(**_OF_STEPS)(function)
    _steps.append(faster)
    step: Function = faster
    return step


def only_compile() -> None:
    """Make ready a process that does nothing but compile.

    Next to nothing that compiling makes becomes garbage before the end. Steps need no entry for
    the interpreter, which spares a tenth of the time: from then on, calling one from Python ends
    the process. Loops are kept the same with and without.
    """
    gc.disable()
    _OF_STEPS.update(_WITHOUT_ENTRY)
    for step in _steps:
        step.targetoptions.update(_WITHOUT_ENTRY)


_LOOK_AGAIN_S: Final = 0.01
"""How often to see whether a loop is compiled: no more than a run would notice."""

_running: Final[list[tuple[subprocess.Popen[bytes], Sequence[Callable[..., Any]]]]] = []
"""Processes that compile, and what."""


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
    module = function.__module__.rpartition(".")[2]
    # The code itself: its index is written before it.
    return folder is None or any(Path(folder).glob(f"{module}.{function.__qualname__}-*.nbc"))


def compile_elsewhere(
    module: str, shares: Sequence[Sequence[Callable[..., Any]]], *arguments: str
) -> None:
    """Have other processes compile some loops, as far as they are not on disk yet.

    Parameters
    ----------
    module : str
        Module to run with the number of a share, which compiles the loops of this share.
    shares : sequence of sequence of callable
        What one process each compiles, in this order.
    *arguments : str
        What the module is run with besides.
    """
    nothing = subprocess.DEVNULL
    for number, functions in enumerate(shares):
        if functions in [known for _, known in _running]:
            continue
        if all(is_on_disk(function) for function in functions):
            continue
        # -P: nothing is imported from the folder that the user works in.
        command = [sys.executable, "-P", "-m", module, str(number), *arguments]
        try:
            process = subprocess.Popen(command, stdin=nothing, stdout=nothing, stderr=nothing)
        except OSError:
            # No more processes, or none of Python's may start here: this one compiles the rest.
            break
        _running.append((process, functions))
    if _running:
        atexit.register(_stop)


def _stop() -> None:
    """End processes whose work nobody waits for any more."""
    for process, _ in _running:
        if process.poll() is None:
            process.kill()
            process.wait()


def wait_for_compiled(function: Callable[..., Any]) -> None:
    """Wait until another process has compiled a loop, if one does; else it is compiled here.

    Parameters
    ----------
    function : callable
        As from `compiled`, about to be called.
    """
    for process, functions in _running:
        if function in functions:
            while process.poll() is None and not is_on_disk(function):
                time.sleep(_LOOK_AGAIN_S)
