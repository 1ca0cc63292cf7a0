"""The checksum by which a file is found again, whatever it is called by then."""

from __future__ import annotations

import contextlib
import hashlib
from pathlib import Path

from shrinkrule.errors import FileError
from shrinkrule.files.plain import require_plain


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's bytes (FIPS 180-4).

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        64 hexadecimal digits.

    Raises
    ------
    FileError
        If it cannot be read.
    """
    require_plain(path)
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except (OSError, ValueError) as error:
        raise FileError(
            f"cannot be read ({getattr(error, 'strerror', error)})",
            where=str(path),
            hint="check the name and folder",
        ) from error


def checksum_of(path: Path) -> str:
    """SHA-256 of a file as it lies on the disk, in hexadecimal; empty where it cannot be read.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        64 letters, or none.
    """
    with contextlib.suppress(FileError):
        return sha256_of(path)
    return ""
