"""Files out, all or none: written under temporary names, then renamed together.

A full disk or a pulled plug leaves either the old files or the new ones, never a
half. A name that is an input is refused before anything is written. What a killed run left
under a temporary name is taken away by a later one.
"""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from shrinkrule.errors import FileError, SettingError
from shrinkrule.files.plain import real_path

LONGEST_NAME: Final = 255
"""Bytes of a file's name on every usual file system."""

_PREFIX: Final = ".shrinkrule-"
_SUFFIX: Final = ".part"
_WRITTEN: Final[list[Path]] = []
LEFT_BEHIND_S: Final = 3600.0
"""Age from which a temporary file belongs to no run any more: writing takes seconds."""


def green_kind(kinds: Iterable[str]) -> str:
    """Kind of the green part among the kinds of a job's files, whichever its format.

    Parameters
    ----------
    kinds : iterable of str
        As ``green_stl``, ``json``, ``html``.

    Returns
    -------
    str
        The one of the green part; empty where none was written.
    """
    return next((kind for kind in kinds if kind.startswith("green_")), "")


class OutputSet:
    """A set of files to be written together.

    Parameters
    ----------
    inputs : iterable of Path
        Files that must never be overwritten.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> outputs = OutputSet()
    >>> outputs.add(folder / "note.txt", b"green")
    >>> [p.name for p in outputs.write()]
    ['note.txt']
    """

    def __init__(self, inputs: Iterable[Path] = ()) -> None:
        self._inputs = [Path(p) for p in inputs]
        self._files: dict[Path, bytes] = {}
        self._changed: dict[Path, bytes | None] = {}

    def add(self, path: Path, data: bytes) -> None:
        """Put a file into the set.

        Raises
        ------
        FileError
            If the name is too long, an input's, a folder's, or lies where no folder can be.
        """
        if len(os.fsencode(path.name)) > LONGEST_NAME:
            raise FileError(
                f"a name of {len(os.fsencode(path.name))} bytes is too long for a file",
                where=f"{path.name[:30]}...",
                hint="give what it is named after a shorter name",
            )
        if path.is_dir():
            raise FileError("this is a folder", where=str(path), hint="choose another name")
        require_place(path.parent)
        for source in self._inputs:
            same = path.exists() and source.exists() and path.samefile(source)
            if same or real_path(path) == real_path(source):
                raise FileError(
                    "this would overwrite an input",
                    where=str(path),
                    hint="choose another output name or folder",
                )
        self._files[path] = data

    def add_changed(self, path: Path, data: bytes, before: bytes | None) -> None:
        """Put into the set the new contents of a file that was read.

        Parameters
        ----------
        path : Path
            The file.
        data : bytes
            Its new contents.
        before : bytes or None
            What was read, None where there was no file. If it is something else when the
            set is written, the set is refused and ``data`` kept beside it.

        Raises
        ------
        FileError
            As :meth:`add`.
        """
        self.add(path, data)
        self._changed[path] = before

    def write(self) -> tuple[Path, ...]:
        """Write all files, then give them their names.

        Raises
        ------
        FileError
            If one cannot be written, or a file that was read has changed since; the line says
            what was left.
        """
        pending: list[tuple[Path, Path]] = []
        named: list[Path] = []
        made: list[Path] = []
        # Before any of our own: after a jump of the clock one would seem to be of long ago.
        for folder in {path.parent for path in self._files}:
            _sweep(folder)
        try:
            for path, data in self._files.items():
                made += _made(path.parent)
                pending.append((_written_aside(path, data), path))
            self._require_unchanged({path: aside for aside, path in pending})
            for temporary, path in pending:
                temporary.replace(path)
                named.append(path)
                _WRITTEN.append(path)
            for folder in {path.parent for path in named}:
                _sync_folder(folder)
        except OSError as error:
            left = ", ".join(p.name for p in named) or "nothing"
            raise FileError(
                f"cannot be written ({error.strerror or error})",
                where=str(pending[len(named)][1] if len(pending) == len(self._files) else path),
                hint=f"{left} was changed; check free space and permissions",
            ) from error
        finally:
            for temporary, _ in pending[len(named) :]:
                with contextlib.suppress(OSError):
                    temporary.unlink(missing_ok=True)
            if not named:
                for folder in reversed(made):
                    with contextlib.suppress(OSError):
                        folder.rmdir()
        return tuple(self._files)

    def _require_unchanged(self, aside: dict[Path, Path]) -> None:
        """Refuse to write over what another program wrote since a file was read."""
        for path, before in self._changed.items():
            now = path.read_bytes() if path.exists() else None
            if now == before:
                continue
            kept = _free_name(path)
            aside[path].replace(kept)
            raise FileError(
                "another program changed it while this run was adding to it",
                where=str(path),
                hint=f"it was left as it is, the version with the addition is {kept.name}; "
                "copy what is missing from one into the other, or run the command again",
            )


def require_folder(folder: Path) -> None:
    """Refuse a folder to write to that is not there.

    Parameters
    ----------
    folder : Path
        The folder.

    Raises
    ------
    FileError
        If it does not exist.
    """
    if not folder.is_dir():
        raise FileError("no such folder", where=str(folder), hint="make it, or name another")


def require_plain_name(name: str, where: str) -> None:
    """Refuse a name that is no plain file name.

    Parameters
    ----------
    name : str
        What files are to be called.
    where : str
        What it was given as, for messages.

    Raises
    ------
    SettingError
        For a name that is empty, leads elsewhere or begins with a dot.
    """
    if not re.fullmatch(r"[\w][\w .-]*", name):
        raise SettingError(
            f"{name!r} is no name for files", where=where, hint="use letters, digits and dashes"
        )


def require_place(folder: Path) -> None:
    """Refuse a folder to write to that is not there and cannot be made.

    Parameters
    ----------
    folder : Path
        The folder.

    Raises
    ------
    FileError
        If something else has its name, or the name of a folder above it.
    """
    try:
        there = next(path for path in (folder, *folder.absolute().parents) if path.exists())
        if there.is_dir():
            return
        what = "this is no folder"
    except OSError as error:
        there, what = folder, f"no folder can be here ({error.strerror})"
    raise FileError(what, where=str(there), hint="name another one to write to")


def written_so_far() -> tuple[Path, ...]:
    """Files that this process has given their names, for a line on what a stop has left.

    Returns
    -------
    tuple of Path
        In the order in which they were written.
    """
    return tuple(_WRITTEN)


def _made(folder: Path) -> list[Path]:
    """Make a folder and those above it; return those that were not there."""
    missing = [path for path in (folder, *folder.absolute().parents) if not path.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    return missing[::-1]


def _free_name(path: Path) -> Path:
    """Name beside a file that no other has: ``table.kept.csv``, ``table.kept 2.csv``."""
    number = 1
    while True:
        count = f" {number}" if number > 1 else ""
        name = path.with_name(f"{path.stem}.kept{count}{path.suffix}")
        if not name.exists():
            return name
        number += 1


def _sync_folder(folder: Path) -> None:
    """Have new names on the disk too, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _sweep(folder: Path) -> None:
    """Take away what killed runs left under temporary names."""
    with contextlib.suppress(OSError):
        for left in folder.glob(f"{_PREFIX}*{_SUFFIX}"):
            with contextlib.suppress(OSError):
                if time.time() - left.stat().st_mtime > LEFT_BEHIND_S:
                    left.unlink()


def _mode(path: Path) -> int:
    """Permissions of the file that is replaced, or those a new file of this user has."""
    if path.exists():
        return path.stat().st_mode & 0o777
    # mkstemp makes private files; outputs follow the user's usual permissions.
    umask = os.umask(0)
    os.umask(umask)
    return 0o666 & ~umask


def _written_aside(path: Path, data: bytes) -> Path:
    handle, name = tempfile.mkstemp(prefix=_PREFIX, suffix=_SUFFIX, dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.chmod(_mode(path))
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise
    return temporary
