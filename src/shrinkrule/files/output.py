"""Files out, all or none: written under temporary names, then renamed together.

A full disk or a pulled plug leaves either the old files or the new ones, never a
half. A name that is an input is refused before anything is written.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from shrinkrule.errors import FileError


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

    def add(self, path: Path, data: bytes) -> None:
        """Put a file into the set.

        Raises
        ------
        FileError
            If the name is an input's, a folder's, or lies in a folder that does not exist.
        """
        if path.is_dir():
            raise FileError("this is a folder", where=str(path), hint="choose another name")
        require_folder(path.parent)
        for source in self._inputs:
            same = path.exists() and source.exists() and path.samefile(source)
            if same or path.resolve() == source.resolve():
                raise FileError(
                    "this would overwrite an input",
                    where=str(path),
                    hint="choose another output name or folder",
                )
        self._files[path] = data

    def write(self) -> tuple[Path, ...]:
        """Write all files, then give them their names.

        Raises
        ------
        FileError
            If one cannot be written; then none has been changed.
        """
        pending: list[tuple[Path, Path]] = []
        try:
            for path, data in self._files.items():
                pending.append((_written_aside(path, data), path))
            for temporary, path in pending:
                temporary.replace(path)
        except OSError as error:
            for temporary, _ in pending:
                temporary.unlink(missing_ok=True)
            raise FileError(
                f"cannot be written ({error.strerror or error})",
                where=str(error.filename or path),
                hint="check free space and permissions",
            ) from error
        return tuple(self._files)


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


def _written_aside(path: Path, data: bytes) -> Path:
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp makes private files; outputs follow the user's usual permissions.
        umask = os.umask(0)
        os.umask(umask)
        temporary.chmod(0o666 & ~umask)
    except OSError:
        temporary.unlink(missing_ok=True)
        raise
    return temporary
