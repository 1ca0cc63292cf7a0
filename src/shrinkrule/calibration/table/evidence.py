"""What a row was fitted from: its sheets, each with the checksum of its contents.

A row that names its evidence can be fitted again with more sheets, and nobody has to wonder
whether a sheet is still the one that was fitted. Checksums are SHA-256 (FIPS 180-4).
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from shrinkrule.errors import FileError, TableError
from shrinkrule.files.checksum import sha256_of
from shrinkrule.files.plain import real_path

_ONE: Final = re.compile(r"(?P<file>.+?) sha256:(?P<sum>[0-9a-f]{64})(?:; |$)")


@dataclass(frozen=True)
class Evidence:
    """One file that a row was fitted from.

    Parameters
    ----------
    file : str
        Its name, with slashes; it starts from the folder of the table if it is not absolute.
    sha256 : str
        Checksum of its contents, 64 hexadecimal digits.
    """

    file: str
    sha256: str

    def __str__(self) -> str:
        return f"{self.file} sha256:{self.sha256}"


def evidence_of(files: Iterable[Path], folder: Path) -> tuple[Evidence, ...]:
    """Name files as evidence for a row of a table in ``folder``.

    Parameters
    ----------
    files : iterable of Path
        The sheets.
    folder : Path
        Folder of the table, which names start from.

    Returns
    -------
    tuple of Evidence
        In the order given.

    Raises
    ------
    TableError
        If a file cannot be read.
    """
    return tuple(Evidence(_named(file, folder), _checksum(file, str(file))) for file in files)


def evidence_text(evidence: Iterable[Evidence]) -> str:
    """Evidence as the text of one cell; :func:`parsed_evidence` reads it.

    Examples
    --------
    >>> evidence_text(()) == ""
    True
    """
    return "; ".join(map(str, evidence))


def parsed_evidence(text: str) -> tuple[Evidence, ...]:
    """Evidence out of the text of a cell.

    Parameters
    ----------
    text : str
        Names with their checksums, as ``firing1.csv sha256:...; firing2.csv sha256:...``.

    Returns
    -------
    tuple of Evidence
        What it names.

    Raises
    ------
    ValueError
        If it is no such text.
    """
    found, at = [], 0
    for match in _ONE.finditer(text):
        if match.start() != at:
            break
        found.append(Evidence(match["file"], match["sum"]))
        at = match.end()
    if at != len(text) or text.endswith("; "):
        raise ValueError("name each file as NAME sha256:CHECKSUM, with '; ' between")
    return tuple(found)


def evidence_files(evidence: Iterable[Evidence], row: str, folder: Path) -> tuple[Path, ...]:
    """Find the files that a row was fitted from, and check that they are still the same.

    Parameters
    ----------
    evidence : iterable of Evidence
        What the row names.
    row : str
        Name of the row, for messages.
    folder : Path
        Folder of its table.

    Returns
    -------
    tuple of Path
        The files, in the row's order.

    Raises
    ------
    TableError
        If the row names none, or one is not there any more or has changed.
    """
    files = []
    for one in evidence:
        path = folder / one.file
        if _checksum(path, f"evidence of row {row!r}") != one.sha256:
            raise TableError(
                f"{one.file} has changed since row {row!r} was fitted from it",
                where=str(folder),
                hint="put the file back as it was, or fit all sheets anew by naming them",
            )
        files.append(path)
    if not files:
        raise TableError(
            f"row {row!r} does not name the sheets it was fitted from",
            hint="fit all sheets anew by naming them",
        )
    return tuple(files)


def _named(file: Path, folder: Path) -> str:
    """Name of a file from a folder, so that both can be moved together."""
    try:
        return Path(os.path.relpath(real_path(file), real_path(folder))).as_posix()
    except ValueError:  # pragma: no cover - another drive
        return real_path(file).as_posix()


def _checksum(path: Path, where: str) -> str:
    try:
        return sha256_of(path)
    except FileError as error:
        raise TableError(
            f"{path}: {error.what}",
            where=where,
            hint="put the file back where it was, or fit all sheets anew by naming them",
        ) from error
