"""One writer at a time for a file that several runs add to.

The lock is held on a hidden file beside it, which stays: taking it away would let two
writers hold two locks of one name. The system frees the lock of a process that was killed.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from filelock import FileLock, Timeout

from shrinkrule.errors import FileError

PATIENCE_S: Final = 60.0
"""How long one run waits for another to finish writing."""

_OPEN_MARKS: Final = (".~lock.{}#", "~${}")
"""Files that spreadsheets leave beside a file they have open."""


@contextmanager
def locked(path: Path, patience_s: float = PATIENCE_S) -> Iterator[None]:
    """Hold the lock of a file against other runs.

    Parameters
    ----------
    path : Path
        The file, which need not exist; its folder must.
    patience_s : float
        Seconds to wait for another run.

    Raises
    ------
    FileError
        If another run holds it for longer, or if nothing may be written beside it.
    """
    lock = FileLock(path.with_name(f".{path.name}.lock"), timeout=patience_s)
    try:
        lock.acquire()
    except Timeout as error:
        raise FileError(
            f"another run has been writing to it for {patience_s:.0f} s",
            where=str(path),
            hint="nothing was written; wait for that run to end and try again",
        ) from error
    except (OSError, NotImplementedError) as error:
        why = (error.strerror if isinstance(error, OSError) else None) or error
        raise FileError(
            f"cannot be held against other runs ({why})",
            where=str(path),
            hint="nothing was written; check the permissions of its folder",
        ) from error
    try:
        yield
    finally:
        lock.release()


@contextmanager
def held(path: Path, patience_s: float = PATIENCE_S) -> Iterator[None]:
    """Hold a file against other runs and spreadsheets, from reading it to its new contents.

    Parameters
    ----------
    path : Path
        The file, which need not exist; its folder must.
    patience_s : float
        Seconds to wait for another run.

    Raises
    ------
    FileError
        As :func:`locked`, and if a spreadsheet has it open.
    """
    with locked(path, patience_s):
        for mark in _OPEN_MARKS:
            sign = path.with_name(mark.format(path.name))
            if sign.exists():
                raise FileError(
                    "it is open in a spreadsheet, which would later write over the new row",
                    where=str(path),
                    hint=f"nothing was written; close it there; if it is not open, delete {sign}",
                )
        yield
