"""Bytes of a plain file, or one line on why it is none: a folder, a pipe, a device, too large.

A pipe would be waited for and a device never ends, so that every reader asks here first.
"""

from __future__ import annotations

import os
from pathlib import Path

from shrinkrule.errors import FileError, ShrinkruleError


def real_path(path: Path) -> Path:
    """Where a file really lies: links are followed, and one that leads to itself is left.

    Parameters
    ----------
    path : Path
        The file, which need not exist.

    Returns
    -------
    Path
        From the root.
    """
    # Path.resolve raises what is no OSError over such a link, before Python 3.13.
    return Path(os.path.realpath(path))


def require_plain(path: Path, kind: str = "file", error: type[ShrinkruleError] = FileError) -> int:
    """Refuse what is no plain file that is there.

    Parameters
    ----------
    path : Path
        The file; links are followed.
    kind : str
        What it is to the maker (``table``, ``model``), for messages.
    error : type
        Error to raise.

    Returns
    -------
    int
        Its size in bytes.

    Raises
    ------
    ShrinkruleError
        Of type ``error``: for what is not there, a folder, a pipe, a socket or a device.
    """
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise error("this is a folder", where=str(path), hint=f"name the {kind} in it")
        if not path.is_file():
            raise error(
                "this is a device or a pipe, not a file",
                where=str(path),
                hint=f"save the {kind} to a file first",
            )
    except FileNotFoundError as cause:
        raise error(
            "no such file", where=str(path), hint="check the name and the folder"
        ) from cause
    except (OSError, ValueError) as cause:
        raise _not_read(path, cause, error) from cause
    return size


def plain_bytes(
    path: Path, largest_mb: float, kind: str = "file", error: type[ShrinkruleError] = FileError
) -> bytes:
    """Read a plain file whole.

    Parameters
    ----------
    path : Path
        The file; links are followed.
    largest_mb : float
        A larger one is refused unread.
    kind : str
        What it is to the maker (``table``, ``report``), for messages.
    error : type
        Error to raise.

    Returns
    -------
    bytes
        Its contents.

    Raises
    ------
    ShrinkruleError
        Of type ``error``: as :func:`require_plain`, and for a file that is too large or cannot
        be read.
    """
    size = require_plain(path, kind, error)
    if size > 1e6 * largest_mb:
        raise error(
            f"the file has {size / 1e6:.0f} MB, a {kind} under {largest_mb:g}",
            where=str(path),
            hint=f"name the {kind}",
        )
    try:
        return path.read_bytes()
    except OSError as cause:
        raise _not_read(path, cause, error) from cause


def _not_read(
    path: Path, cause: OSError | ValueError, error: type[ShrinkruleError]
) -> ShrinkruleError:
    why = (cause.strerror if isinstance(cause, OSError) else None) or cause
    return error(
        f"cannot be read ({why})", where=str(path), hint="check its name and its permissions"
    )
