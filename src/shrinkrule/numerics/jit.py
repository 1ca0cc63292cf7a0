"""Compiled loops, where steps over whole arrays would sort or copy too much."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from numba import njit

Function = TypeVar("Function", bound=Callable[..., Any])


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
    settings = {"nogil": True, "error_model": "numpy"}
    try:
        faster: Function = njit(cache=True, **settings)(function)
    except RuntimeError:
        # What numba raises where it finds no folder to write to.
        faster = njit(**settings)(function)
    return faster
