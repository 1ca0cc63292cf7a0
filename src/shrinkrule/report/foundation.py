"""What every report has: who wrote it and numbers that JSON can hold."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from shrinkrule.files.output import green_kind
from shrinkrule.version import VERSION


def program() -> str:
    """Name and version of this program.

    Returns
    -------
    str
        As ``shrinkrule 1.2.3``.
    """
    return f"shrinkrule {VERSION}"


def finite(values: dict[str, Any]) -> dict[str, Any]:
    """Values by name, with null for what JSON cannot hold.

    Parameters
    ----------
    values : dict of str to any
        Plain values, nested or not.

    Returns
    -------
    dict of str to any
        The same keys.
    """
    return {key: without_nan(value) for key, value in values.items()}


def without_nan(value: Any) -> Any:
    """Replace what JSON cannot hold (nan, inf) by null, all the way down.

    Parameters
    ----------
    value : any
        A plain value, nested or not.

    Returns
    -------
    any
        The same, tuples as lists.
    """
    if isinstance(value, dict):
        return finite(value)
    if isinstance(value, list | tuple):
        return [without_nan(inner) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def green_of(files: Mapping[str, Path]) -> Path:
    """Green part among the files of a job, whichever its format.

    Parameters
    ----------
    files : mapping of str to Path
        Path of each file, by kind.

    Returns
    -------
    Path
        Its path.
    """
    return files[green_kind(files)]
